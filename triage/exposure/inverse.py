"""The questions asked backwards: how much, how much air, how long, which control."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from triage.exposure.day import DayLedger, Release
from triage.exposure.judge import judge_release
from triage.exposure.space import Room
from triage.exposure.substance import Substance
from triage.units import within

SMALLER = 0.999
"""A found amount is shown a little smaller, so that rounding never lifts it over the limit."""


@dataclass(frozen=True, slots=True)
class Control:
    """A way to keep the air clean.

    Parameters
    ----------
    name                as shown
    cost_rank           lower is cheaper; equal ranks go by name
    air_changes_per_h   air changes with it; None leaves the room's
    captured_fraction   share of the release taken away at the source and led outside, 0 to 1
    air_speed_m_per_min air speed before the face with it; None leaves the room's
    outdoors            the work is done outdoors
    """

    name: str
    cost_rank: float
    air_changes_per_h: float | None = None
    captured_fraction: float = 0.0
    air_speed_m_per_min: float | None = None
    outdoors: bool = False

    def applied_to(self, room: Room) -> Room:
        """Return the room with this control; a control never makes the stated air worse."""
        changes = room.air_changes_per_h
        if self.air_changes_per_h is not None:
            changes = max(self.air_changes_per_h, changes or 0.0)
        speed = room.air_speed_m_per_min
        if self.air_speed_m_per_min is not None:
            speed = max(self.air_speed_m_per_min, speed)
        return replace(
            room,
            air_changes_per_h=changes,
            captured_fraction=max(self.captured_fraction, room.captured_fraction),
            air_speed_m_per_min=speed,
            outdoors=self.outdoors or room.outdoors,
        )


def cheapest_control(
    controls: Iterable[Control],
    substance: Substance,
    amount_ml: float,
    room: Room,
    minutes: float,
    **terms: Any,
) -> Control | None:
    """Return the cheapest control under which the release is ok; None if none of them serves.

    Parameters
    ----------
    controls the choices; doing nothing can be one of them (rank 0)
    terms    passed on to ``judge_release`` (temp_c, ledger, margin, judge_by, ...)
    """
    for control in sorted(controls, key=lambda each: (each.cost_rank, each.name)):
        there = control.applied_to(room)
        if judge_release(substance, amount_ml, there, minutes, **terms).verdict == "ok":
            return control
    return None


def largest_pass_ml(substance: Substance, room: Room, minutes: float, **terms: Any) -> float | None:
    """Return the largest single amount that is ok now [mL]; None = no limit, or none binds."""
    return judge_release(substance, 0.0, room, minutes, **terms).largest_ok_ml


def largest_day_ml(
    substance: Substance,
    room: Room,
    minutes: float,
    passes: int = 1,
    every_min: float = 0.0,
    **terms: Any,
) -> float | None:
    """Return the largest amount for a day of equal passes [mL in all].

    Parameters
    ----------
    minutes   release time of each pass [min]
    passes    how many, 1 to 500; the first starts when the day's ledger ends
    every_min from start to start [min]; 0 = all at once, the safest reading
    terms     passed on to ``judge_release``; its ledger counts before the first pass

    Returns
    -------
    Total of all passes; None = no limit to go by, or none binds.

    Raises
    ------
    OutOfRange: an input is out of range.
    """
    count = int(within("passes", passes, 1, 500, ""))
    gap = within("time between passes", every_min, 0.0, 1440.0, "min")
    before: DayLedger = terms.pop("ledger", None) or DayLedger()
    single = largest_pass_ml(substance, room, minutes, ledger=before, **terms)
    if single is None or count == 1 or single == 0.0:
        return single
    # An amount was found, so a density is known: without one there is no largest amount.
    start = before.last_min if before.now_min is None else before.now_min
    per_ml = (substance.density_g_per_ml or 0.0) * 1000.0 * terms.get("strength_fraction", 1.0)
    known = {each.key: each for each in (*before.substances, substance)}

    def factor(each_ml: float) -> float:
        earlier = tuple(
            Release(start + k * gap, each_ml * per_ml, substance.key, minutes)
            for k in range(count - 1)
        )
        ledger = DayLedger((*before.releases, *earlier), tuple(known.values()))
        moment = start + (count - 1) * gap
        return judge_release(
            substance, each_ml, room, minutes, ledger=ledger, at_min=moment, **terms
        ).exceeded_by

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
    **terms: Any,
) -> float | None:
    """Return the least air changes that make the release ok [1/h]; None if even the most do not.

    Notes
    -----
    The peak of a release at once, and the addition at the face, do not fall with air changes.
    """
    most = within("most air changes", most_per_h, 0.0, 500.0, "1/h")

    def excess(changes: float) -> float:
        there = replace(room, air_changes_per_h=changes)
        return judge_release(substance, amount_ml, there, minutes, **terms).exceeded_by - 1.0

    if excess(0.0) <= 0.0:
        return 0.0
    if excess(most) > 0.0:
        return None
    from scipy.optimize import brentq  # noqa: PLC0415  (as above)

    found = float(brentq(excess, 0.0, most, xtol=1e-9))
    return min(found / SMALLER, most)
