"""The rows of the plan screen, made from a plan; which parts are opened is told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from rich.text import Text

from triage.case.models import Timer
from triage.explain.sureplan import Firmness
from triage.history.advice import SkipSuggestion
from triage.plan.model import Notice, Plan, Step
from triage.plan.names import finding_names, zone_words
from triage.plan.ownrecord import RECORD, own_record
from triage.show.plan import by_reason, near_and_rest, rest_words
from triage.show.words import (
    MAY_CHANGE,
    NOTICE_SIGNS,
    OUTCOME_WORDS,
    SETTLED,
    STATE_SIGNS,
    dwell_words,
    finding_line,
    notices_told,
    other_readings,
    pass_words,
    sentence,
    step_place,
)
from triage.tui.hanging import BOLD, hanging
from triage.tui.widgets.actionlist import Row, title_row

WHOLE = "whole"
LATER, OUT = "later", "out"


@dataclass(frozen=True)
class PlanRow(Row):
    """One row; Enter acts on its step, opens, question, attempt, timer, skips or detail."""

    is_now: bool = False
    step: str | None = None
    opens: str = ""
    question: str = ""
    finding: str | None = None
    attempt: str = ""
    timer: str = ""
    skips: str = ""
    detail: str = field(default="", compare=False)


def plan_rows(
    plan: Plan,
    opened: frozenset[str],
    timers: tuple[Timer, ...] = (),
    clean: frozenset[str] = frozenset(),
    skips: tuple[SkipSuggestion, ...] = (),
    firmness: tuple[Firmness, ...] = (),
    ready: tuple[str, ...] = (),
) -> tuple[Row, ...]:
    """Return all rows of a plan; no two have the same id.

    ``clean`` are findings of nothing; ``skips`` are rungs that seldom worked here; ``firmness`` is
    that of the steps, as far as it is known; ``ready`` says that it may go to the camera.
    """
    # A gate that lets no step through is why nothing can be done: it stands before all else.
    is_shut = plan.next_step() is None
    told = notices_told(plan)
    gates = tuple(each for each in told if is_shut and each.kind in ("gate", "waiting"))
    urgent = tuple(each for each in told if each.kind == "first-aid")
    rows = (
        *_notice_rows("at-once", urgent),
        *_hold_rows(plan),
        *_timer_rows(plan, timers),
        *_notice_rows("refused", plan.refused),
        *([_ready_row(ready)] if ready else []),
        *_notice_rows("gate", gates),
        *_step_rows(plan, opened, {each.step: each for each in skips}, firmness),
        *_finding_rows(plan, clean),
        *_excluded_rows(plan, opened),
        *_question_rows(plan),
        *_notice_rows("notice", tuple(each for each in told if each not in (*gates, *urgent))),
    )
    return tuple(_set_apart(row) if at and row.is_title else row for at, row in enumerate(rows))


def _set_apart(row: Row) -> Row:
    return (
        replace(row, prompt=Text("\n").append_text(row.prompt))
        if isinstance(row.prompt, Text)
        else row
    )


def _hold_rows(plan: Plan) -> Iterator[Row]:
    for hold in plan.held:
        word = OUTCOME_WORDS.get(hold.outcome, hold.outcome)
        yield PlanRow(
            f"hold-{hold.attempt}",
            hanging(
                "X",
                (f"HELD after {word} ({hold.attempt})", BOLD),
                hold.sentence,
                "Enter: release with a written reason",
            ),
            attempt=hold.attempt,
        )


def _ready_row(ready: tuple[str, ...]) -> Row:
    head, *told = ready
    return PlanRow("ready", hanging("*", (head.upper(), BOLD), *told), detail="\n\n".join(ready))


def _timer_rows(plan: Plan, timers: tuple[Timer, ...]) -> Iterator[Row]:
    for timer in timers:
        here = plan.step(timer.step) is not None
        what = "Enter stops it" if here else "its step is no longer in the plan; Enter stops it"
        yield PlanRow(
            f"timer-{timer.step}",
            hanging("@", f"TIMER to {timer.ends:%Y-%m-%d %H:%M}: {timer.label}", what),
            timer=timer.step,
        )


def _notice_rows(name: str, notices: tuple[Notice, ...]) -> Iterator[Row]:
    for number, notice in enumerate(notices):
        sign, _, word = NOTICE_SIGNS.get(notice.kind, f"i {notice.kind}").partition(" ")
        yield PlanRow(
            f"{name}-{number}",
            hanging(sign, f"{word}: {notice.text}"),
            detail=f"{word}\n\n{notice.text}",
        )


def _step_rows(
    plan: Plan,
    opened: frozenset[str],
    skips: Mapping[str, SkipSuggestion],
    firmness: tuple[Firmness, ...],
) -> Iterator[Row]:
    """Yield the step now, up to three behind it, and the others where they are opened."""
    firm = {each.step: each.firm for each in firmness}
    near, rest = near_and_rest(plan)
    for number, step in enumerate(near):
        is_now = number == 0
        # The word comes into the free place below the sign: nothing moves when it does.
        word = SETTLED if firm.get(step.id) else MAY_CHANGE
        sure = word if is_now and step.id in firm else ""
        yield _step_row(
            step, f"{'> NOW' if is_now else '  then':<12}{sure}".rstrip(), is_now=is_now
        )
        if step.id in skips:
            yield _skip_row(skips[step.id])
    if rest:
        is_open = LATER in opened
        does = "hides" if is_open else "shows"
        yield PlanRow(
            LATER,
            hanging("  v" if is_open else "  +", f"{rest_words(rest)}; Enter {does}"),
            opens=LATER,
        )
        for step in rest if is_open else ():
            yield _step_row(step, "  if needed", is_now=False)


def _finding_rows(plan: Plan, clean: frozenset[str]) -> Iterator[Row]:
    found = [line for line in plan.findings if line.id not in clean]
    if plan.findings:
        yield title_row("What was found")
    working = {finding for step in plan.steps for finding in step.findings}
    for line in found:
        told = [finding_line(line)]
        if line.leave_it and line.id not in working and line.state != "cleared":
            told.append(f"if it stays: {line.leave_it}")
        yield PlanRow(
            f"found-{line.id}",
            hanging(f"  {STATE_SIGNS[line.state][0]}", *told),
            finding=line.id,
            detail="\n\n".join(part for part in (*told, other_readings(line)) if part),
        )
    places = [zone_words(line.zone_name, line.side) for line in plan.findings if line.id in clean]
    if places:
        yield PlanRow(
            "clean",
            hanging("  =", f"looked at, clean: {'; '.join(places)}"),
            detail="Looked at, clean:\n" + "\n".join(f"- {place}" for place in places),
        )


def _step_row(step: Step, sign: str, *, is_now: bool) -> Row:
    style = BOLD if is_now else ""
    marks = [
        *(["! HAZARD, checklist first"] if step.hazardous else []),
        *(["| HOLD POINT"] if step.hold else []),
    ]
    record = own_record(step)
    more = (
        "; ".join(part for part in (dwell_words(step), pass_words(step)) if part) if is_now else "",
        "   ".join(marks),
        f"{RECORD}{record}" if record else "",
    )
    return PlanRow(
        f"step-{step.id}",
        hanging(sign, (step.name, style), step_place(step), *(p for p in more if p), width=13),
        is_now=is_now,
        step=step.id,
    )


def _skip_row(skip: SkipSuggestion) -> Row:
    return PlanRow(
        f"skip-{skip.step}",
        hanging(
            "           ~",
            ("seldom worked here: Enter skips it", BOLD),
            skip.then,
            width=13,
        ),
        skips=skip.step,
        finding=skip.finding,
    )


def _excluded_rows(plan: Plan, opened: frozenset[str]) -> Iterator[Row]:
    if not plan.excluded:
        return
    is_open = OUT in opened
    methods = len({item.method for item in plan.excluded})
    many = f"{methods} method{'' if methods == 1 else 's'} ruled out"
    does = "hides" if is_open else "shows why"
    yield PlanRow(OUT, hanging("  v" if is_open else "  +", f"{many}; Enter {does}"), opens=OUT)
    names = finding_names(plan)
    for finding in dict.fromkeys(item.finding for item in plan.excluded) if is_open else ():
        where = names.get(finding or "", "whole specimen")
        yield title_row(sentence(where).rstrip("."), f"{OUT}-{finding or WHOLE}")
        left_out = [item for item in plan.excluded if item.finding == finding]
        for number, ((because, is_never), held) in enumerate(by_reason(left_out).items()):
            kind = "never" if is_never else "not now"
            yield PlanRow(
                f"{OUT}-{finding or WHOLE}-{number}",
                hanging("    x", (f"{kind}: {because}", BOLD), ", ".join(held), width=6),
                detail=f"{kind}: {because}\n\nIt rules out:\n"
                + "\n".join(f"- {name}" for name in held),
            )


def _question_rows(plan: Plan) -> Iterator[Row]:
    if not plan.questions:
        return
    yield title_row("Would still help to know")
    lines = {line.id: line for line in plan.findings}
    for question in plan.questions:
        line = lines.get(question.finding or "")
        where = f"{line.zone_name}: " if line else ""
        yield PlanRow(
            f"question-{question.finding or WHOLE}-{question.question}",
            hanging("  ?", f"{where}{question.ask}", question.because),
            question=question.question,
            finding=question.finding,
        )


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
