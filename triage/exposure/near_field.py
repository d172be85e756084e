"""Two zones: a half sphere on the bench that holds source and face, and the rest of the room.

``VN dCN/dt = G + beta (CF - CN)`` and ``VF dCF/dt = beta (CN - CF) - Q' CF``. The matrix of this
system has two real eigenvalues l2 < l1 <= 0, so each restart (a release begins, a release stops)
is the closed form ``exp(l1 t) P1 + exp(l2 t) P2`` applied to both levels at that moment. After the
source stops BOTH terms go on: a decay with l1 alone, as found in one teaching code, drops the
second term and misses the fast fall at the face.

Source: B2Z 1.4, R package for the two-zone model, manual, equations 1 and 2; Monteiro, Banerjee,
Ramachandran, J. Statistical Software 43(2), 2011.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from triage.errors import OutOfRange
from triage.exposure.space import HIGH, Room, corners
from triage.exposure.substance import Floats
from triage.units import at_least, finite, positive, within


def _none_below_zero(name: str, value: ArrayLike, unit: str) -> Floats:
    """Return numbers as an array, shape (n,), if there are any and each is finite and >= 0."""
    array = np.atleast_1d(np.asarray(value, dtype=np.float64))
    if array.size == 0:
        raise OutOfRange(f"{name} is empty", mend=f"give {name} in {unit}")
    at_least(name, float(array.min()), 0.0, unit)
    finite(name, float(array.max()), unit)
    return array


def _phi1(x: ArrayLike) -> Floats:
    """Return ``(1 - exp(-x)) / x``, 1 at zero: the mean of a decay over its first ``x`` lives."""
    x = np.asarray(x, dtype=np.float64)
    safe = np.where(x == 0.0, 1.0, x)
    return np.where(x == 0.0, 1.0, -np.expm1(-safe) / safe)


NO_STOP_MIN = 1e12


@dataclass(frozen=True)
class TwoZones:
    """Volumes [m3], near flow beta and room flow Q' [m3/min] of a two-zone room."""

    near_m3: float
    far_m3: float
    near_flow_m3_per_min: float
    room_flow_m3_per_min: float

    def __post_init__(self) -> None:
        positive("near field", self.near_m3, "m3")
        positive("far field (room less near field)", self.far_m3, "m3")
        positive("near flow", self.near_flow_m3_per_min, "m3/min")
        at_least("room flow", self.room_flow_m3_per_min, 0.0, "m3/min")

    def rates(self) -> tuple[float, float]:
        """Return the eigenvalues (l1, l2), l2 < l1 <= 0 [1/min]."""
        near, far = self.near_m3, self.far_m3
        beta, flow = self.near_flow_m3_per_min, self.room_flow_m3_per_min
        trace = beta / near + (beta + flow) / far
        gap = math.hypot(beta / near - (beta + flow) / far, 2.0 * beta / math.sqrt(near * far))
        fast = -0.5 * (trace + gap)
        # The product of both is beta Q/(VN VF); the difference would lose its digits at small Q.
        return beta * flow / (near * far) / fast, fast


def _evolve(zones: TwoZones, rate: float, start: Floats, minutes: Floats) -> Floats:
    """Return levels at ``minutes`` after a (re)start, shape (2, n)."""
    slow, fast = zones.rates()
    near, far, beta = zones.near_m3, zones.far_m3, zones.near_flow_m3_per_min
    out = beta + zones.room_flow_m3_per_min
    matrix = np.array([[-beta / near, beta / near], [beta / far, -out / far]])
    p_slow = (matrix - fast * np.eye(2)) / (slow - fast)
    p_fast, feed = np.eye(2) - p_slow, np.array([rate / near, 0.0])
    return np.asarray(
        np.outer(p_slow @ start, np.exp(slow * minutes))
        + np.outer(p_fast @ start, np.exp(fast * minutes))
        + np.outer(p_slow @ feed, minutes * _phi1(-slow * minutes))
        + np.outer(p_fast @ feed, minutes * _phi1(-fast * minutes))
    )


def two_zone_levels(
    zones: TwoZones,
    rate_mg_per_min: float,
    minutes: ArrayLike,
    stop_min: float = NO_STOP_MIN,
    start_mg_per_m3: tuple[float, float] = (0.0, 0.0),
) -> tuple[Floats, Floats]:
    """Return (near, far) of a steady release from 0 to ``stop_min`` [mg/m3], each shape (n,).

    The system is restarted when the source stops; it begins with ``start_mg_per_m3`` (near, far).
    """
    rate = at_least("release rate", rate_mg_per_min, 0.0, "mg/min")
    stop = at_least("end of release", stop_min, 0.0, "min")
    times = _none_below_zero("time", minutes, "min")
    start = _none_below_zero("level at the start", start_mg_per_m3, "mg/m3")
    found = _evolve(zones, rate, start, np.minimum(times, stop))
    late = times > stop
    if late.any():
        at_stop = _evolve(zones, rate, start, np.array([stop]))[:, 0]
        found[:, late] = _evolve(zones, 0.0, at_stop, times[late] - stop)
    return np.maximum(found[0], 0.0), np.maximum(found[1], 0.0)


AT_ONCE_MIN = 1e-6
"""A shorter release counts as one at once [min]."""


@dataclass(frozen=True, slots=True)
class Curve:
    """A time series: minutes, level in the room and at the face [mg/m3], all of one length."""

    minutes: tuple[float, ...]
    room_mg_per_m3: tuple[float, ...]
    near_mg_per_m3: tuple[float, ...]


def release_curve(
    amount_mg: float, release_min: float, room: Room, until_min: float, points: int
) -> Curve:
    """Return the two-zone levels of one release from minute 0 on, at the unfavourable end.

    It evaporates evenly over ``release_min``; 0 = at once, into the near field. The points are
    evenly spaced; the end of the release is added.
    """
    until = within("end of curve", until_min, 1e-6, 2880.0, "min")
    grid = np.linspace(0.0, until, int(within("points", points, 2, 100_000, "")))
    if 0.0 < release_min < until:
        grid = np.union1d(grid, [release_min])
    near, far = _levels(amount_mg, release_min, room, grid)
    return Curve(tuple(grid.tolist()), tuple(far.tolist()), tuple(near.tolist()))


def _levels(
    amount_mg: float, release_min: float, room: Room, minutes: Floats
) -> tuple[Floats, Floats]:
    """Return (near, far) at minutes since the start of one release."""
    spread = corners(room)
    decay, flow, share = (
        float(each[HIGH]) for each in (spread.decay_per_min, spread.near_flow, spread.share)
    )
    level = within("amount", amount_mg, 0.0, 1e9, "mg") * share / room.near_m3
    last = within("release time", release_min, 0.0, 1440.0, "min")
    if room.outdoors:
        # The far field is the open air: one box of the near field, cleared by its own flow.
        near = _one_box(level, last, flow / room.near_m3, minutes)
        return near, np.zeros_like(near)
    far_m3 = room.volume_m3 - room.near_m3
    zones = TwoZones(room.near_m3, far_m3, flow, decay * room.volume_m3)
    if last < AT_ONCE_MIN:
        return two_zone_levels(zones, 0.0, minutes, 0.0, (level, 0.0))
    return two_zone_levels(zones, amount_mg * share / last, minutes, last)


def _one_box(level: float, last: float, rate: float, minutes: Floats) -> Floats:
    if last < AT_ONCE_MIN:
        return np.asarray(level * np.exp(-rate * minutes))
    on = np.minimum(minutes, last)
    built = level / last * -np.expm1(-rate * on) / rate
    return np.asarray(built * np.exp(-rate * (minutes - on)))
