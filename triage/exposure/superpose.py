"""All releases of a day added up, for several readings of the uncertain inputs at once.

Each release counts as evaporated at once for the room (the upper bound of the room mean whatever
the true speed) and as even over its minutes for the addition at the face. The sum of a room box
and a near-field box is the approximation of Nicas, Ann. Work Expo. Health 68(1):78-85, 2024.

Between two releases the room level only decays, so the mean over a window that slides can turn
from rising to falling only where its start meets a release: the worst window starts at one of
them. Peak and window means are therefore exact at n starts, and no time grid is needed.
"""

from __future__ import annotations

import numpy as np

from triage.exposure.maths import Floats
from triage.exposure.space import Room, Spread

_LEAST_DECAY = 1e-9
"""Stands for no air [1/min]: lets one formula serve, changes an 8 h mean by less than 1e-6."""


class Superposition:
    """Levels of a day's releases in one room, at the start of each release.

    Parameters
    ----------
    minute      start of each release [min of the day], rising, shape (n,)
    release_min how long each one gives off its vapour [min], shape (n,); 0 = at once
    room        volumes; ``spread`` replaces its flows and carries the evaporated share
    spread      the readings, each shape (d,)
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

        Parameters
        ----------
        weight     mass of each release [mg], or mass over limit [m3], shape (n,)
        window_min length of the mean [min]; 0 = the level just after the release

        Returns
        -------
        Level [mg/m3], or fraction of the limit; near is never below room.
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
