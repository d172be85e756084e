"""The room as the arithmetic sees it, its decay, and the spread of its uncertain inputs.

Well mixed but for ``K``: ``V dC/dt = G - Q' C`` with ``Q' = a V``, no sinks, clean make-up air. The
level at the face can be higher (``near_field``).
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace

import numpy as np

from triage.errors import OutOfRange
from triage.exposure.gas import pressure_at_altitude_kpa
from triage.exposure.substance import Floats
from triage.knowledge.methods import AirControl
from triage.units import at_least, within

LEAST_AIR_SPEED = 0.1
MOST_AIR_CHANGES_PER_H = 500.0
HIGH = 2
"""Index of the unfavourable corner."""
LEAST_DECAY_PER_MIN = 1e-12
"""Slower than this counts as no air at all when a time is asked for."""


def decay_per_min(air_changes_per_h: float | None, mixing_factor: float = 1.0) -> float:
    """Return the effective decay [1/min]; unknown air changes (None) count as none.

    The mixing factor K goes from 1 (perfect) to 10 (very poor distribution).
    Source: CDC, MMWR 43 no. RR-13, 28 October 1994, Table S3-1 and its note on the mixing factor.
    """
    factor = within("mixing factor", mixing_factor, 1.0, 10.0, "")
    if air_changes_per_h is None:
        return 0.0
    changes = within("air changes", air_changes_per_h, 0.0, MOST_AIR_CHANGES_PER_H, "1/h")
    return changes / (60.0 * factor)


def minutes_to_fall(start_mg_per_m3: float, target_mg_per_m3: float, decay: float) -> float:
    """Return how long a decay takes [min]: 0 if already there, inf without air or to zero."""
    start = at_least("level at the start", start_mg_per_m3, 0.0, "mg/m3")
    target = at_least("target", target_mg_per_m3, 0.0, "mg/m3")
    rate = at_least("decay", decay, 0.0, "1/min")
    if start <= target:
        return 0.0
    if rate < LEAST_DECAY_PER_MIN or target == 0.0:
        return float("inf")
    return float(np.log(start / target) / rate)


@dataclass(frozen=True, slots=True)
class Band:
    """How far the uncertain inputs may be off (defaults are judgement, without a document).

    Least and most of true over stated air changes, and of the flow that clears the air before the
    face; and of the share of the amount that evaporates, of which the middle figure takes the most:
    the total-evaporation bound when it is 1.
    """

    air_changes_factor: tuple[float, float] = (0.5, 2.0)
    near_flow_factor: tuple[float, float] = (0.5, 2.0)
    evaporated_share: tuple[float, float] = (0.5, 1.0)

    def __post_init__(self) -> None:
        for name in ("air_changes_factor", "near_flow_factor"):
            low, high = getattr(self, name)
            within(f"least {name}", low, 0.01, 1.0, "")
            within(f"most {name}", high, 1.0, 100.0, "")
        low, high = self.evaporated_share
        within("most evaporated share", high, 0.0, 1.0, "")
        within("least evaporated share", low, 0.0, high, "")


EXACT = Band((1.0, 1.0), (1.0, 1.0), (1.0, 1.0))
"""No uncertainty: everything evaporates, air as stated."""


@dataclass(frozen=True, slots=True)
class Room:
    """A room with one bench.

    Air changes None = not known, count as none; ``mixing_factor`` K; the near field is the half
    sphere that holds source and face; the air speed is the random one at the bench, its default for
    a still room from memory. ``outdoors``: no room to fill, only the near field counts;
    ``captured_fraction`` is taken away at the source.
    """

    volume_m3: float
    air_changes_per_h: float | None = None
    mixing_factor: float = 1.0
    near_field_radius_m: float = 0.5
    air_speed_m_per_min: float = 3.6
    temp_c: float = 20.0
    altitude_m: float = 0.0
    band: Band = field(default_factory=Band)
    outdoors: bool = False
    captured_fraction: float = 0.0

    def __post_init__(self) -> None:
        within("room volume", self.volume_m3, 1e-9, 1e7, "m3")
        decay_per_min(self.air_changes_per_h, self.mixing_factor)
        within("near-field radius", self.near_field_radius_m, 0.1, 2.0, "m")
        within("air speed", self.air_speed_m_per_min, LEAST_AIR_SPEED, 300.0, "m/min")
        within("room temperature", self.temp_c, -20.0, 60.0, "C")
        within("altitude", self.altitude_m, -500.0, 6000.0, "m")
        within("captured fraction", self.captured_fraction, 0.0, 1.0, "")
        if not self.outdoors and self.near_m3 >= self.volume_m3:
            raise OutOfRange(
                f"a near field of {self.near_m3:.3g} m3 does not fit into {self.volume_m3:g} m3",
                mend="give a smaller near-field radius or the volume of the room, not of a box",
            )

    @property
    def near_m3(self) -> float:
        """Volume of the near field, a half sphere (from memory): ``(2/3) pi r^3`` [m3]."""
        return 2.0 / 3.0 * math.pi * self.near_field_radius_m**3

    @property
    def near_flow_m3_per_min(self) -> float:
        """Air exchanged with the room: half the free surface times the air speed [m3/min].

        Fails where a fan, an extractor or body heat drives the air, and for a face in the plume.
        """
        return math.pi * self.near_field_radius_m**2 * self.air_speed_m_per_min

    @property
    def decay_per_min(self) -> float:
        """Effective decay of the room level [1/min]; 0 if the air changes are not known."""
        return decay_per_min(self.air_changes_per_h, self.mixing_factor)

    @property
    def pressure_kpa(self) -> float:
        """Air pressure at the room's altitude [kPa]."""
        return pressure_at_altitude_kpa(self.altitude_m)


@dataclass(frozen=True)
class Spread:
    """The uncertain inputs, each of shape (n,)."""

    decay_per_min: Floats
    near_flow: Floats
    share: Floats


def corners(room: Room) -> Spread:
    """Return (favourable, stated, unfavourable) inputs, shape (3,).

    Every level falls with both flows and rises with the share, so the corners bound it exactly.
    """
    band, decay, flow = room.band, room.decay_per_min, room.near_flow_m3_per_min
    kept = 1.0 - room.captured_fraction
    return Spread(
        decay * np.array([band.air_changes_factor[1], 1.0, band.air_changes_factor[0]]),
        flow * np.array([band.near_flow_factor[1], 1.0, band.near_flow_factor[0]]),
        kept * np.array([band.evaporated_share[0], *[band.evaporated_share[1]] * 2]),
    )


def with_control(room: Room, control: AirControl) -> Room:
    """Return the room with this control; a control never makes the stated air worse."""
    changes, speed = room.air_changes_per_h, room.air_speed_m_per_min
    if control.air_changes_per_h is not None:
        changes = max(control.air_changes_per_h, changes or 0.0)
    return replace(
        room,
        air_changes_per_h=changes,
        captured_fraction=max(control.captured_fraction, room.captured_fraction),
        air_speed_m_per_min=max(control.air_speed_m_per_min or 0.0, speed),
        outdoors=control.outdoors or room.outdoors,
    )


_LEAST_DECAY = 1e-9
"""Stands for no air [1/min]: lets one formula serve, changes an 8 h mean by less than 1e-6."""


class Superposition:
    """Levels of a day's releases in one room, at the start of each release.

    ``minute`` (rising) and ``release_min`` of each release are of shape (n,); ``spread`` replaces
    the flows of the room and carries the evaporated share, each reading of shape (d,).
    """

    def __init__(self, minute: Floats, release_min: Floats, room: Room, spread: Spread) -> None:
        self.minute, self.release_min = minute, release_min
        self.room, self.spread = room, spread
        self.decay = np.maximum(spread.decay_per_min, _LEAST_DECAY)
        self.steps = np.exp(-np.multiply.outer(np.diff(self.minute), self.decay))
        # m / max(tau beta, VN): a short release cannot fill the near field above its own mass.
        clear = np.multiply.outer(self.release_min, spread.near_flow)
        self.near_unit = spread.share / np.maximum(clear, room.near_m3)
        self.window_unit = spread.share / spread.near_flow
        self._ends: dict[float, tuple[np.ndarray, Floats]] = {}

    def states(self, weight: Floats) -> Floats:
        """Return the room content just after each release, in the unit of ``weight``, (n, d)."""
        content = np.empty((weight.size, self.decay.size))
        content[0] = weight[0]
        for index in range(1, weight.size):
            np.multiply(content[index - 1], self.steps[index - 1], out=content[index])
            content[index] += weight[index]
        return content

    def at_starts(self, weight: Floats, window_min: float) -> tuple[Floats, Floats]:
        """Return (room, near) for windows that start at each release, each shape (n, d).

        ``weight`` is the mass of each release [mg], or mass over limit [m3]; what comes is a level
        [mg/m3], or a fraction of the limit. A window of 0 is the level just after the release.
        """
        if self.room.outdoors:
            room = np.zeros((weight.size, self.decay.size))
        elif window_min == 0.0:
            room = self.states(weight) * (self.spread.share / self.room.volume_m3)
        else:
            room = self._window_dose(weight, window_min)
            room *= self.spread.share / (self.decay * (window_min * self.room.volume_m3))
        overlap = self._overlap(window_min)
        if window_min == 0.0:
            near = self._beside_each_start(weight, overlap)
            near += room
            return room, near
        local = (overlap * weight).sum(axis=1) / window_min
        near = np.multiply.outer(local, self.window_unit)
        near += room
        return room, near

    def _beside_each_start(self, weight: Floats, overlap: Floats) -> Floats:
        """Return what the releases under way at each start add at the face, shape (n, d).

        A loop over the few pairs that overlap: a matrix product would wake the threads of the
        linear algebra library, which on a busy machine costs several times the arithmetic.
        """
        local = weight[:, None] * self.near_unit
        total = local.copy()
        pairs = overlap * (weight != 0.0)
        np.fill_diagonal(pairs, 0.0)
        for start, other in np.argwhere(pairs):
            total[start] += local[other]
        return total

    def worst(self, weight: Floats, window_min: float) -> tuple[Floats, Floats]:
        """Return the highest (room, near) over all starts, each shape (d,)."""
        room, near = self.at_starts(weight, window_min)
        return room.max(axis=0), near.max(axis=0)

    def _window_dose(self, weight: Floats, window_min: float) -> Floats:
        if window_min not in self._ends:
            stop = self.minute + window_min
            last = np.searchsorted(self.minute, stop, side="right") - 1
            fall = np.exp(-np.multiply.outer(stop - self.minute[last], self.decay))
            self._ends[window_min] = last, fall
        last, fall = self._ends[window_min]
        content, total = self.states(weight), np.cumsum(weight)
        # What was there, plus what came, less what is left: it must have been carried away.
        left = content[last]
        left *= fall
        content -= left
        content += (total[last] - total)[:, None]
        return content

    def _overlap(self, window_min: float) -> Floats:
        """Return the largest share of release k that a window beside start i can hold, (n, n)."""
        start = self.minute[:, None]
        touches = (self.minute <= start + window_min) & (self.minute + self.release_min >= start)
        if window_min == 0.0:
            return touches.astype(np.float64)
        return np.asarray(
            touches * np.minimum(1.0, window_min / np.maximum(self.release_min, 1e-9))
        )
