"""The questions asked backwards: how much, how much air, how long, which control."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from triage.exposure.day import Release
from triage.exposure.judge import judge_release
from triage.exposure.space import Room, with_control
from triage.exposure.step import USUAL, Terms
from triage.exposure.substance import Substance
from triage.knowledge.methods import AirControl
from triage.units import within

SMALLER = 0.999
"""A found amount is shown a little smaller, so that rounding never lifts it over the limit."""


def cheapest_control(
    controls: Iterable[AirControl],
    substance: Substance,
    amount_ml: float,
    room: Room,
    minutes: float,
    terms: Terms = USUAL,
) -> AirControl | None:
    """Return the cheapest control under which the release is ok; None if none of them serves.

    ``controls`` are the choices; doing nothing can be one of them (rank 0).
    """
    for control in sorted(controls, key=lambda each: (each.cost_rank, each.id)):
        there = with_control(room, control)
        if judge_release(substance, amount_ml, there, minutes, terms).verdict == "ok":
            return control
    return None


def largest_day_ml(
    substance: Substance,
    room: Room,
    minutes: float,
    passes: int = 1,
    every_min: float = 0.0,
    terms: Terms = USUAL,
) -> float | None:
    """Return the largest amount for a day of equal passes [mL in all].

    Parameters
    ----------
    minutes   release time of each pass [min]
    passes    how many, 1 to 500; the first starts when the day's ledger ends
    every_min from start to start [min]; 0 = all at once, the safest reading
    terms     by what is judged; its ledger counts before the first pass

    Returns
    -------
    Total of all passes; None = no limit to go by, or none binds.

    Raises
    ------
    OutOfRange: an input is out of range.
    """
    count = int(within("passes", passes, 1, 500, ""))
    gap = within("time between passes", every_min, 0.0, 1440.0, "min")
    before = terms.ledger
    single = judge_release(substance, 0.0, room, minutes, terms).largest_ok_ml
    if single is None or count == 1 or single == 0.0:
        return single
    # An amount was found, so a density is known: without one there is no largest amount.
    start = before.last_min if before.now_min is None else before.now_min
    per_ml = (substance.density_g_per_ml or 0.0) * 1000.0 * terms.strength_fraction

    def factor(each_ml: float) -> float:
        earlier = (
            Release(start + k * gap, each_ml * per_ml, substance.key, minutes)
            for k in range(count - 1)
        )
        ledger, moment = before.added(earlier, (substance,)), start + (count - 1) * gap
        last = replace(terms, ledger=ledger, at_min=moment)
        return judge_release(substance, each_ml, room, minutes, last).exceeded_by

    if factor(single) <= 1.0:  # no pass adds to another: the day holds as many as it has time for
        return single * count
    from scipy.optimize import brentq  # noqa: PLC0415  (slow to import, seldom needed)

    return float(brentq(lambda each: factor(each) - 1.0, 0.0, single)) * count * SMALLER


def least_air_changes(
    substance: Substance,
    amount_ml: float,
    room: Room,
    minutes: float,
    most_per_h: float = 60.0,
    terms: Terms = USUAL,
) -> float | None:
    """Return the least air changes that make the release ok [1/h]; None if even the most do not.

    Notes
    -----
    The peak of a release at once, and the addition at the face, do not fall with air changes.
    """
    most = within("most air changes", most_per_h, 0.0, 500.0, "1/h")

    def excess(changes: float) -> float:
        there = replace(room, air_changes_per_h=changes)
        return judge_release(substance, amount_ml, there, minutes, terms).exceeded_by - 1.0

    if excess(0.0) <= 0.0:
        return 0.0
    if excess(most) > 0.0:
        return None
    from scipy.optimize import brentq  # noqa: PLC0415  (as above)

    found = float(brentq(excess, 0.0, most, xtol=1e-9))
    return min(found / SMALLER, most)
