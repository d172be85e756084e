"""Rules about limits: which one counts, several agents together, steps of a day."""

from __future__ import annotations

from collections.abc import Iterable

from triage.exposure.substance import Limit, Substance
from triage.units import within

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
