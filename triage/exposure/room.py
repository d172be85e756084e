"""Well-mixed room: levels, doses and times for pulse, steady, drying and repeated releases.

All functions take the effective decay ``a = air changes / (60 K)`` [1/min], see ``decay_per_min``,
and hold at ``a = 0`` too. Mass balance ``V dC/dt = G - Q' C`` with ``Q' = a V``: no sinks, clean
make-up air, full mixing but for ``K``. The level at the face can be higher (``near_field``).
"""

from __future__ import annotations

import numpy as np

from triage.units import at_least, within

MOST_AIR_CHANGES_PER_H = 500.0
LEAST_DECAY_PER_MIN = 1e-12
"""Slower than this counts as no air at all when a time is asked for."""


def decay_per_min(air_changes_per_h: float | None, mixing_factor: float = 1.0) -> float:
    """Return the effective decay [1/min]; unknown air changes (None) count as none.

    Parameters
    ----------
    air_changes_per_h fresh air per room volume [1/h], 0 to 500
    mixing_factor     K, 1 (perfect) to 10 (very poor distribution)

    Source
    ------
    CDC, MMWR 43 no. RR-13, 28 October 1994, Table S3-1 and its note on the mixing factor.
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
