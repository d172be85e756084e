"""The rows of the plan screen, made from a plan; which parts are opened is told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from rich.text import Text

from triage.case.models import Case, Timer
from triage.explain.sureplan import Firmness
from triage.history.advice import SkipSuggestion
from triage.plan.model import Hold, Notice, Plan, QuestionLine, Step
from triage.plan.names import RECORD, finding_names, own_record, zone_words
from triage.show import words
from triage.show.plan import QUESTIONS_SHOWN, by_reason, near_and_rest, rest_words
from triage.tui.hanging import BOLD, Line, Row, hanging, title_row

WHOLE = "whole"
LATER, OUT, MORE = "later", "out", "more"


@dataclass(frozen=True)
class PlanRow(Row):
    """One row; Enter acts on its step, opens, question, hold, timer, skips or detail."""

    is_now: bool = False
    step: Step | None = None
    opens: str = ""
    question: str = ""
    finding: str | None = None
    hold: Hold | None = None
    timer: str = ""
    skips: str = ""
    detail: str = field(default="", compare=False)


def plan_rows(
    plan: Plan,
    opened: frozenset[str],
    case: Case | None = None,
    skips: tuple[SkipSuggestion, ...] = (),
    firmness: tuple[Firmness, ...] = (),
    ready: tuple[str, ...] = (),
) -> tuple[Row, ...]:
    """Return all rows of a plan; no two have the same id.

    ``case`` brings the timers, and which findings are of nothing; ``skips`` are rungs that seldom
    worked here; ``firmness`` is that of the steps, as far as it is known; ``ready`` says that it
    may go to the camera.
    """
    # A gate that lets no step through is why nothing can be done: it stands before all else.
    is_shut = plan.next_step() is None
    told = words.notices_told(plan)
    gates = tuple(each for each in told if is_shut and each.kind in ("gate", "waiting"))
    urgent = words.urgent(plan)
    clean = {found.id for found in case.findings if found.is_clean} if case else set()
    rows = (
        *_notice_rows("at-once", urgent),
        *_hold_rows(plan),
        *_timer_rows(plan, case.timers if case else ()),
        *_notice_rows("refused", plan.refused),
        *_ready_rows(*ready),
        *_notice_rows("gate", gates),
        *_step_rows(plan, opened, {each.step: each for each in skips}, firmness),
        *_finding_rows(plan, clean),
        *_excluded_rows(plan, opened),
        *_question_rows(plan, opened),
        *_notice_rows("notice", tuple(each for each in told if each not in (*gates, *urgent))),
    )
    # Titles stand apart from what is above them.
    return tuple(
        replace(row, prompt=Text("\n").append_text(row.prompt))
        if at and isinstance(row.prompt, Text)
        else row
        for at, row in enumerate(rows)
    )


def _row(row_id: str, sign: str, *lines: Line, width: int = 4, **acts: Any) -> PlanRow:
    return PlanRow(row_id, hanging(sign, *lines, width=width), **acts)


def _folded(row_id: str, opened: frozenset[str], what: str, does: str = "shows") -> PlanRow:
    is_open = row_id in opened
    told = f"{what}; Enter {'hides' if is_open else does}"
    return _row(row_id, "  v" if is_open else "  +", told, opens=row_id)


def _hold_rows(plan: Plan) -> Iterator[Row]:
    for hold in plan.held:
        head = (f"HELD: {hold.words} ({hold.attempt})", BOLD)
        does = "Enter: release with a written reason"
        yield _row(f"hold-{hold.attempt}", "X", head, hold.sentence, does, hold=hold)


def _timer_rows(plan: Plan, timers: tuple[Timer, ...]) -> Iterator[Row]:
    for timer in timers:
        here = plan.step(timer.step) is not None
        what = "Enter stops it" if here else "its step is no longer in the plan; Enter stops it"
        told = f"TIMER to {timer.ends:%Y-%m-%d %H:%M}: {timer.label}"
        yield _row(f"timer-{timer.step}", "@", told, what, timer=timer.step)


def _ready_rows(head: str = "", *told: str) -> Iterator[Row]:
    if head:
        detail = "\n\n".join((head, *told))
        yield _row("ready", "*", (head.upper(), BOLD), *told, detail=detail)


def _notice_rows(name: str, notices: tuple[Notice, ...]) -> Iterator[Row]:
    for number, notice in enumerate(notices):
        sign, _, word = words.NOTICE_SIGNS.get(notice.kind, f"i {notice.kind}").partition(" ")
        detail = f"{word}\n\n{notice.text}"
        yield _row(f"{name}-{number}", sign, f"{word}: {notice.text}", detail=detail)


def _step_rows(
    plan: Plan,
    opened: frozenset[str],
    skips: Mapping[str, SkipSuggestion],
    firmness: tuple[Firmness, ...],
) -> Iterator[Row]:
    """Yield the step now, up to three behind it, and the others where they are opened."""
    firm = {each.step: words.SETTLED if each.firm else words.MAY_CHANGE for each in firmness}
    near, rest = near_and_rest(plan)
    for number, step in enumerate(near):
        is_now = number == 0
        # The word comes into the free place below the sign: nothing moves when it does.
        sign = f"> NOW       {firm.get(step.id, '')}".rstrip() if is_now else "  then"
        yield _step_row(step, sign, is_now=is_now)
        if skip := skips.get(step.id):
            told = ("seldom worked here: Enter skips it", BOLD), skip.then
            acts: dict[str, Any] = {"skips": skip.step, "finding": skip.finding}
            yield _row(f"skip-{skip.step}", "           ~", *told, width=13, **acts)
    if rest:
        yield _folded(LATER, opened, rest_words(rest))
        for step in rest if LATER in opened else ():
            yield _step_row(step, "  if needed", is_now=False)


def _finding_rows(plan: Plan, clean: set[str]) -> Iterator[Row]:
    found = [line for line in plan.findings if line.id not in clean]
    if plan.findings:
        yield title_row("What was found")
    working = {finding for step in plan.steps for finding in step.findings}
    for line in found:
        told = [words.finding_line(line)]
        if line.leave_it and line.id not in working and line.state != "cleared":
            told.append(f"if it stays: {line.leave_it}")
        sign = f"  {words.STATE_SIGNS[line.state][0]}"
        detail = "\n\n".join(part for part in (*told, words.other_readings(line)) if part)
        yield _row(f"found-{line.id}", sign, *told, finding=line.id, detail=detail)
    places = [zone_words(line.zone_name, line.side) for line in plan.findings if line.id in clean]
    if places:
        detail = "\n- ".join(("Looked at, clean:", *places))
        yield _row("clean", "  =", f"looked at, clean: {'; '.join(places)}", detail=detail)


def _step_row(step: Step, sign: str, *, is_now: bool) -> Row:
    hazard = "! HAZARD, checklist first" if step.hazardous else ""
    marks = (hazard, "| HOLD POINT" if step.hold else "")
    times = (words.dwell_words(step), words.pass_words(step)) if is_now else ()
    record = own_record(step)
    told = (
        words.step_place(step),
        "; ".join(filter(None, times)),
        "   ".join(filter(None, marks)),
        f"{RECORD}{record}" if record else "",
    )
    head = (step.name, BOLD if is_now else "")
    more = [each for each in told if each]
    return _row(f"step-{step.id}", sign, head, *more, width=13, is_now=is_now, step=step)


def _excluded_rows(plan: Plan, opened: frozenset[str]) -> Iterator[Row]:
    if not plan.excluded:
        return
    methods = len({item.method for item in plan.excluded})
    many = f"{methods} method{'' if methods == 1 else 's'} ruled out"
    yield _folded(OUT, opened, many, "shows why")
    names = finding_names(plan)
    for finding in dict.fromkeys(item.finding for item in plan.excluded) if OUT in opened else ():
        where = names.get(finding or "", "whole specimen")
        yield title_row(words.sentence(where).rstrip("."), f"{OUT}-{finding or WHOLE}")
        left_out = [item for item in plan.excluded if item.finding == finding]
        for number, ((because, is_never), held) in enumerate(by_reason(left_out).items()):
            why = f"{'never' if is_never else 'not now'}: {because}"
            row_id, lines = f"{OUT}-{finding or WHOLE}-{number}", ((why, BOLD), ", ".join(held))
            detail = "\n- ".join((f"{why}\n\nIt rules out:", *held))
            yield _row(row_id, "    x", *lines, width=6, detail=detail)


def _question_rows(plan: Plan, opened: frozenset[str]) -> Iterator[Row]:
    """Yield what would still help to know, the best first; one row for what is asked alike."""
    alike: dict[tuple[str, str], list[QuestionLine]] = {}
    for question in plan.questions:
        alike.setdefault((question.question, question.because), []).append(question)
    if alike:
        yield title_row("Would still help to know")
    places = {line.id: line.zone_name for line in plan.findings}
    rows = []
    for (name, because), asked in alike.items():
        first = asked[0]
        where = ", ".join(dict.fromkeys(places[q.finding] for q in asked if q.finding))
        ask = f"{where}: {first.ask}" if where else first.ask
        row_id = f"question-{first.finding or WHOLE}-{name}"
        acts: dict[str, Any] = {"question": name, "finding": first.finding}
        rows.append(_row(row_id, "  ?", ask, because, **acts))
    yield from rows[:QUESTIONS_SHOWN]
    if rest := rows[QUESTIONS_SHOWN:]:
        yield _folded(MORE, opened, f"{len(rest)} more question{'' if len(rest) == 1 else 's'}")
        yield from rest if MORE in opened else ()


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
