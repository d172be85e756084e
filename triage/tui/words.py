"""Words and signs for what the plan holds; nothing is said by colour alone."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from triage.plan.model import HarshnessGrades, Plan

OUTCOME_KEYS: tuple[tuple[str, str, str], ...] = (
    ("c", "cleared", "cleared"),
    ("b", "better", "better"),
    ("n", "no-change", "no change"),
    ("w", "worse", "worse"),
    ("d", "damage", "damage"),
    ("x", "not-done", "not done"),
)
OUTCOME_WORDS = {outcome: word for _, outcome, word in OUTCOME_KEYS}

STAGE_WORDS = {
    "intake": "intake",
    "look": "look, dry",
    "rehydrate": "rehydrate",
    "relax": "relax",
    "examine": "examine",
    "clean": "clean",
    "set-and-dry": "set and dry",
    "keep": "keep",
}
GRADE_WORDS = ("none", "slight", "mild", "middling", "strong", "worst")
STATUS_SIGNS = {"next": "> NOW", "then": "  then", "if-needed": "  if needed"}
CLEAN_SIGN = "= looked at, clean"
STATE_SIGNS = {
    "open": "o open",
    "cleared": "+ cleared",
    "accepted": "= left as it is",
    "left": "# protected",
    "unsettled": "? unsettled",
    "waiting": "? waits for an answer",
    "stopped": "x ladder used up",
}
NOTICE_SIGNS = {
    "first-aid": "! AT ONCE",
    "refused": "X REFUSED",
    "gate": "| GATE",
    "waiting": "? TO GO ON",
    "full-stop": "X FULL STOP",
    "leave-it": "# LEAVE IT",
    "accept": "= NOTHING TO DO",
    "picture": "i FOR THE PICTURE",
    "keep": "# KEEP",
    "refer": "! ASK SOMEBODY WHO MAY",
    "look-again": "@ LOOK AGAIN",
    "air": "! AIR",
    "bench": "i BENCH",
    "note": "i NOTE",
}


def stage_word(stage: str) -> str:
    """Return the stage as it is said."""
    return STAGE_WORDS.get(stage, stage)


def grade_word(grade: int) -> str:
    """Return a grade of harshness as word and number."""
    word = GRADE_WORDS[grade] if 0 <= grade < len(GRADE_WORDS) else "?"
    return f"{word} {grade}/5"


def harshness_line(grades: HarshnessGrades) -> str:
    """Return the three grades in short form."""
    return f"rub {grades.mechanical} · attack {grades.chemical} · hazard {grades.person} (of 5)"


def percent(certainty: float) -> str:
    """Return a certainty 0-1 in whole percent."""
    return f"{round(100 * certainty)} %"


def bar(certainty: float, width: int = 10) -> str:
    """Return a certainty 0-1 as a bar of plain signs."""
    filled = round(max(0.0, min(1.0, certainty)) * width)
    return "#" * filled + "-" * (width - filled)


def amount_words(amount_ml: float | None) -> str:
    """Return an amount with its unit."""
    return "no liquid" if amount_ml is None else f"{amount_ml:g} mL"


def span_words(seconds: float | None) -> str:
    """Return a length of time in the unit a person would use."""
    if seconds is None:
        return "no set time"
    if seconds < 120:
        return f"{seconds:g} s"
    if seconds < 2 * 3600:
        return f"{seconds / 60:g} min"
    return f"{seconds / 3600:g} h"


def clock_words(seconds: float) -> str:
    """Return seconds as h:mm:ss or m:ss, never below zero."""
    whole = max(0, int(seconds + 0.999) if seconds > 0 else int(-seconds))
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


def no_step_words(plan: Plan) -> str:
    """Return why there is no step to do, and what to do about it."""
    if plan.held:
        return "the case is held; press r and write why work may go on"
    if plan.refused:
        return f"the case is refused: {plan.refused[0].text}"
    if plan.questions:
        gate = next((each for each in plan.notices if each.kind == "gate"), None)
        why = f": {gate.text.rstrip('.')}" if gate else ""
        return f"no step is open yet{why}; press l and answer what is asked"
    return "nothing is left to do; press l to look at the specimen again"
