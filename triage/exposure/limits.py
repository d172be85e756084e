"""Rules about limits: which one counts, several agents together, steps of a day, long days."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from triage.errors import OutOfRange
from triage.exposure.substance import Limit, Substance
from triage.units import at_least, positive, within

ADDITIVE = frozenset({"twa", "stel", "ceiling"})


def allowed_fraction(limit: Limit, margin: float) -> float:
    """Return the share of a limit that may be used: the margin for an 8 h mean, else all."""
    return within("margin", margin, 1e-6, 1.0, "") if limit.basis == "twa" else 1.0


def is_silent(substance: Substance, judge_by: str | None) -> bool:
    """Return whether others have set working limits, but not the authority that was chosen."""
    set_by = {limit.authority for limit in substance.limits if limit.basis != "idlh"}
    return judge_by is not None and bool(set_by) and judge_by not in set_by


def judged_limits(substance: Substance, judge_by: str | None) -> tuple[Limit, ...]:
    """Return the limits that count: all, or those of the chosen authority if it has any.

    IDLH always counts: an authority can be chosen, danger to life cannot be left out.
    """
    if judge_by is None or is_silent(substance, judge_by):
        return substance.limits
    return tuple(
        each for each in substance.limits if each.authority == judge_by or each.basis == "idlh"
    )


def strictest_per_window(limits: Iterable[Limit], margin: float) -> dict[float, float]:
    """Return averaging window [min] -> lowest allowed level [mg/m3], additive kinds only."""
    lowest: dict[float, float] = {}
    for limit in limits:
        if limit.basis in ADDITIVE:
            allowed = limit.value_mg_per_m3 * allowed_fraction(limit, margin)
            window = limit.window_min
            lowest[window] = min(allowed, lowest.get(window, allowed))
    return lowest


def mixture_index(levels: Sequence[float], limits: Sequence[float]) -> float:
    """Return ``sum(C/L)`` over agents, above 1 is too much; one kind of limit in every term.

    Source
    ------
    29 CFR 1910.1000(d)(2): computation formula for mixtures.
    """
    if len(levels) != len(limits) or not levels:
        raise OutOfRange("levels and limits do not pair", mend="give one limit for each level")
    return sum(
        at_least("level", level, 0.0, "") / positive("limit", limit, "")
        for level, limit in zip(levels, limits, strict=True)
    )


def mixture_limit(levels: Sequence[float], limits: Sequence[float]) -> float:
    """Return the limit of a vapour mix of fixed make-up, ``sum C / sum(C/L)``."""
    index = mixture_index(levels, limits)
    return sum(levels) / positive("mixture index", index, "")


def mean_over_8_h(steps: Iterable[tuple[float, float]]) -> float:
    """Return the 8 h mean of (level, minutes) steps: always divided by 8 h.

    Source
    ------
    29 CFR 1910.1000(d)(1): computation formula for one substance.
    """
    return sum(
        at_least("level", c, 0.0, "") * at_least("time", t, 0.0, "min") for c, t in steps
    ) / (480.0)


def long_day_factor(hours: float) -> float:
    """Return the factor on an 8 h limit for a longer day; never above 1, not for ceilings.

    Source
    ------
    Jurgiel, note on 12-hour shifts (Brief and Scala): ``(8/h)(24 - h)/16``.
    """
    long = within("hours of work", hours, 0.0, 24.0, "h")
    return 1.0 if long <= 8.0 else (8.0 / long) * (24.0 - long) / 16.0
