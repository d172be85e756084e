"""The budget of ultrasonic bursts: short, few, and counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from triage.errors import OutOfRange
from triage.units import positive


@dataclass(frozen=True, slots=True)
class BurstBudget:
    """What is left for this specimen: bursts, seconds used, longest next burst [s]."""

    bursts_left: int
    used_s: float
    longest_next_s: float
    sentence: str


def burst_budget(
    done_s: Sequence[float], longest_s: float, most_bursts: int, next_s: float | None = None
) -> BurstBudget:
    """Return what is left after the bursts already given, and after a next one if there is one.

    Parameters
    ----------
    done_s      length of each burst so far [s], each > 0
    longest_s   longest burst allowed [s], > 0
    most_bursts most bursts allowed for one specimen, >= 0
    next_s      burst that is wanted next [s], > 0

    Raises
    ------
    OutOfRange: a burst was longer than allowed, or there were more than allowed (nothing is left
    then; the record stands, but no further burst is planned from it); the next one is too long, or
    none is left for it.

    Notes
    -----
    No formula for a safe dwell is known: the numbers are arguments, taken from the knowledge and
    shown with their own standing. A burst that was cut short still counts as one.
    """
    longest = positive("longest burst", longest_s, "s")
    if most_bursts < 0:
        raise OutOfRange(f"most bursts is {most_bursts}", mend="give zero or more")
    for number, burst in enumerate(done_s, start=1):
        if positive(f"burst {number}", burst, "s") > longest:
            raise OutOfRange(
                f"burst {number} lasted {burst:g} s, longer than {longest:g} s",
                mend="stop here and look for damage",
            )
    if len(done_s) > most_bursts:
        raise OutOfRange(
            f"{len(done_s)} bursts were given, {most_bursts} are allowed",
            mend="stop here and look for damage",
        )
    if next_s is not None:
        wanted = positive("next burst", next_s, "s")
        if len(done_s) == most_bursts:
            raise OutOfRange("no burst is left for this specimen", mend="choose another method")
        if wanted > longest:
            raise OutOfRange(
                f"a burst of {wanted:g} s is longer than {longest:g} s",
                mend=f"set at most {longest:g} s and look before the next",
            )
        done_s = (*done_s, wanted)
    left, used = most_bursts - len(done_s), float(sum(done_s))
    if left == 0:
        return BurstBudget(0, used, 0.0, f"No burst is left ({used:g} s used).")
    noun = "burst" if left == 1 else "bursts"
    told = f"{left} {noun} left, each at most {longest:g} s; look after each one."
    return BurstBudget(left, used, longest, told)
