"""Words and signs for what the plan holds; nothing is said by colour alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

from triage.show.words import OUTCOME_WORDS

if TYPE_CHECKING:
    from triage.plan.model import Plan

OUTCOME_KEYS: tuple[tuple[str, str, str], ...] = tuple(
    zip("cbnwdx", OUTCOME_WORDS, OUTCOME_WORDS.values(), strict=True)
)

CLEAN_SIGN = "= looked at, clean"


def clock_words(seconds: float) -> str:
    """Return seconds as h:mm:ss or m:ss, never below zero."""
    whole = max(0, int(seconds + 0.999) if seconds > 0 else int(-seconds))
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def no_step_words(plan: Plan, look: str) -> str:
    """Return why there is no step to do, and what to do about it; ``look`` is the key of a look."""
    if plan.held:
        return "the case is held; press Enter on HELD and write why work may go on"
    if plan.refused:
        return f"the case is refused: {plan.refused[0].text}"
    if plan.questions:
        gate = next((each for each in plan.notices if each.kind == "gate"), None)
        why = f": {gate.text.rstrip('.')}" if gate else ""
        return f"no step is open yet{why}; press {look} and answer what is asked"
    return f"nothing is left to do; press {look} to look at the specimen again"
