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

from triage.exposure.maths import Floats, none_below_zero, phi1
from triage.units import at_least, positive

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

    def _parts(self) -> tuple[float, float, Floats, Floats]:
        slow, fast = self.rates()
        beta, flow = self.near_flow_m3_per_min, self.room_flow_m3_per_min
        matrix = np.array(
            [
                [-beta / self.near_m3, beta / self.near_m3],
                [beta / self.far_m3, -(beta + flow) / self.far_m3],
            ]
        )
        p_slow = (matrix - fast * np.eye(2)) / (slow - fast)
        return slow, fast, p_slow, np.eye(2) - p_slow


def _evolve(zones: TwoZones, rate: float, start: Floats, minutes: Floats) -> Floats:
    """Return levels at ``minutes`` after a (re)start, shape (2, n)."""
    slow, fast, p_slow, p_fast = zones._parts()  # noqa: SLF001  # one closed form, same module
    feed = np.array([rate / zones.near_m3, 0.0])
    return np.asarray(
        np.outer(p_slow @ start, np.exp(slow * minutes))
        + np.outer(p_fast @ start, np.exp(fast * minutes))
        + np.outer(p_slow @ feed, minutes * phi1(-slow * minutes))
        + np.outer(p_fast @ feed, minutes * phi1(-fast * minutes))
    )


def two_zone_levels(
    zones: TwoZones,
    rate_mg_per_min: float,
    minutes: ArrayLike,
    stop_min: float = NO_STOP_MIN,
    start_mg_per_m3: tuple[float, float] = (0.0, 0.0),
) -> tuple[Floats, Floats]:
    """Return (near, far) of a steady release from 0 to ``stop_min`` [mg/m3], each shape (n,).

    Parameters
    ----------
    rate_mg_per_min G while it lasts, >= 0
    minutes         times since the start, shape (n,) [min], >= 0
    stop_min        when the source stops [min]; the system is restarted there with G = 0
    start_mg_per_m3 (near, far) at time 0
    """
    rate = at_least("release rate", rate_mg_per_min, 0.0, "mg/min")
    stop = at_least("end of release", stop_min, 0.0, "min")
    times = none_below_zero("time", minutes, "min")
    start = none_below_zero("level at the start", start_mg_per_m3, "mg/m3")
    found = _evolve(zones, rate, start, np.minimum(times, stop))
    late = times > stop
    if late.any():
        at_stop = _evolve(zones, rate, start, np.array([stop]))[:, 0]
        found[:, late] = _evolve(zones, 0.0, at_stop, times[late] - stop)
    return np.maximum(found[0], 0.0), np.maximum(found[1], 0.0)
