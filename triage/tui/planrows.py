"""The rows of the plan screen, made from a plan; which parts are opened is told."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace

from rich.text import Text

from triage.case.models import Timer
from triage.explain.sensitivity import Firmness
from triage.history.advice import SkipSuggestion
from triage.plan.model import Excluded, FindingLine, Notice, Plan, Step
from triage.plan.ownrecord import RECORD, own_record
from triage.plantext import finding_words, zone_words
from triage.tui.hanging import BOLD, Hanging, hanging
from triage.tui.words import (
    NOTICE_SIGNS,
    OUTCOME_WORDS,
    STATE_SIGNS,
    STATUS_SIGNS,
    harshness_line,
    percent,
)

WHOLE = "whole"


@dataclass(frozen=True)
class Row:
    """One row; Enter acts on its step, opens, question, attempt, timer, skips or detail."""

    id: str
    prompt: Hanging | Text
    is_title: bool = False
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
) -> tuple[Row, ...]:
    """Return all rows of a plan; no two have the same id.

    ``clean`` are findings of nothing; ``skips`` are rungs that seldom worked here; ``firmness`` is
    that of the steps, as far as it is known.
    """
    firm = {each.step: each for each in firmness}
    # A gate that lets no step through is why nothing can be done: it stands before all else.
    is_shut = plan.next_step() is None
    gates = tuple(each for each in plan.notices if is_shut and each.kind == "gate")
    urgent = tuple(each for each in plan.notices if each.kind == "first-aid")
    rows = (
        *_notice_rows("at-once", urgent),
        *_hold_rows(plan),
        *_timer_rows(plan, timers),
        *_notice_rows("refused", plan.refused),
        *_notice_rows("gate", gates),
        *_ladder_rows(plan, opened, clean, {each.step: each for each in skips}, firm),
        *_clean_rows(plan, clean),
        *_question_rows(plan),
        *_notice_rows("notice", tuple(each for each in plan.notices if each not in (*gates, *urgent))),
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
        yield Row(
            f"hold-{hold.attempt}",
            hanging(
                "X",
                (f"HELD after {word} ({hold.attempt})", BOLD),
                hold.sentence,
                "Enter or r: release with a written reason",
            ),
            attempt=hold.attempt,
        )


def _timer_rows(plan: Plan, timers: tuple[Timer, ...]) -> Iterator[Row]:
    for timer in timers:
        here = plan.step(timer.step) is not None
        what = "Enter stops it" if here else "its step is no longer in the plan; Enter stops it"
        yield Row(
            f"timer-{timer.step}",
            hanging("@", f"TIMER to {timer.ends:%Y-%m-%d %H:%M}: {timer.label}", what),
            timer=timer.step,
        )


def _notice_rows(name: str, notices: tuple[Notice, ...]) -> Iterator[Row]:
    for number, notice in enumerate(notices):
        sign, _, word = NOTICE_SIGNS.get(notice.kind, f"i {notice.kind}").partition(" ")
        rule = f"\n\nRule: {notice.rule}" if notice.rule else ""
        yield Row(
            f"{name}-{number}",
            hanging(sign, f"{word}: {notice.text}"),
            detail=f"{word}\n\n{notice.text}{rule}",
        )


def _ladder_rows(
    plan: Plan,
    opened: frozenset[str],
    clean: frozenset[str],
    skips: Mapping[str, SkipSuggestion],
    firm: Mapping[str, Firmness],
) -> Iterator[Row]:
    now = plan.next_step()
    groups: list[str | None] = []
    for step in plan.steps:
        if step.finding not in groups:
            groups.append(step.finding)
    groups += [line.id for line in plan.findings if line.id not in groups]
    if None not in groups and any(item.finding is None for item in plan.excluded):
        groups.append(None)
    lines = {line.id: line for line in plan.findings}
    for finding in groups:
        if finding in clean:
            continue
        yield _group_title(finding, lines.get(finding or ""))
        steps = [step for step in plan.steps if step.finding == finding]
        for step in steps:
            is_now = now is not None and step.id == now.id
            yield _step_row(step, firm.get(step.id), is_now=is_now)
            if step.id in skips:
                yield _skip_row(skips[step.id])
        left_out = [item for item in plan.excluded if item.finding == finding]
        yield from _excluded_rows(finding, left_out, opened)
        line = lines.get(finding or "")
        leave_it = line.leave_it if line and line.state != "cleared" else ""
        if leave_it and not steps:
            yield Row(
                f"leave-{finding}", hanging("  #", f"if it stays: {leave_it}"), detail=leave_it
            )


def _clean_rows(plan: Plan, clean: frozenset[str]) -> Iterator[Row]:
    places = [zone_words(line.zone_name, line.side) for line in plan.findings if line.id in clean]
    if places:
        yield Row(
            "clean",
            hanging("  =", f"looked at, clean: {'; '.join(places)}"),
            detail="Looked at, clean:\n" + "\n".join(f"- {place}" for place in places),
        )


def _title(row_id: str, text: str, more: str = "") -> Row:
    return Row(row_id, Text.assemble((text, "bold underline"), more), is_title=True)


def _group_title(finding: str | None, line: FindingLine | None) -> Row:
    if line is None:
        return _title(f"title-{finding or WHOLE}", "Whole specimen")
    sure = f"  {percent(line.certainty)} {line.standing}" if line.deposit else ""
    # The word alone: a sign before it would stand apart from it where the title is broken.
    state = STATE_SIGNS[line.state].partition(" ")[2]
    return _title(f"title-{line.id}", finding_words(line), f"{sure}  [{state}]")


def _step_row(step: Step, firm: Firmness | None, *, is_now: bool) -> Row:
    sign = "> NOW" if is_now else STATUS_SIGNS.get(step.status, "")
    style = BOLD if is_now else ""
    marks = [
        *(["! HAZARD, checklist first"] if step.hazardous else []),
        *(["| HOLD POINT"] if step.hold else []),
    ]
    record = own_record(step)
    # The word comes into the free place below the sign: nothing moves when it does.
    sure = "" if firm is None else "  firm     " if firm.firm else "  tentative"
    return Row(
        f"step-{step.id}",
        hanging(
            f"{sign:<12}{step.rung:>2}/{step.rungs}{sure}".rstrip(),
            (step.name, style),
            f"{harshness_line(step.harshness)} · pass {step.passes_done + 1}/{step.passes}",
            *(["   ".join(marks)] if marks else []),
            *([f"{RECORD}{record}"] if record else []),
            width=19,
        ),
        is_now=is_now,
        step=step.id,
    )


def _skip_row(skip: SkipSuggestion) -> Row:
    return Row(
        f"skip-{skip.step}",
        hanging(
            "              ~",
            ("seldom worked here: y or Enter skips it, z takes that back", BOLD),
            skip.then,
            width=19,
        ),
        skips=skip.step,
        finding=skip.finding,
    )


def _excluded_rows(
    finding: str | None, left_out: list[Excluded], opened: frozenset[str]
) -> Iterator[Row]:
    if not left_out:
        return
    key = f"out-{finding or WHOLE}"
    is_open = key in opened
    by_rule: dict[tuple[str, str], list[Excluded]] = {}
    for item in left_out:
        by_rule.setdefault((item.rule, item.because), []).append(item)
    methods = len({item.method for item in left_out})
    many = f"{methods} method{'' if methods == 1 else 's'}"
    does = "hides" if is_open else "shows why"
    yield Row(
        key,
        hanging("  v" if is_open else "  +", f"{many} ruled out; Enter {does}"),
        opens=key,
    )
    if not is_open:
        return
    for (rule, because), items in by_rule.items():
        kind = "never" if any(item.interlock for item in items) else "not now"
        names = ", ".join(dict.fromkeys(item.method_name for item in items))
        yield Row(
            f"{key}-{rule}-{len(because)}-{items[0].method}",
            hanging("    x", (f"{kind}: {because}", BOLD), names, width=6),
            detail=f"{kind}: {because}\n\nRule: {rule}\n\nIt rules out:\n"
            + "\n".join(dict.fromkeys(f"- {item.method_name}" for item in items)),
        )


def _question_rows(plan: Plan) -> Iterator[Row]:
    if not plan.questions:
        return
    yield _title("title-questions", "Would still help to know")
    lines = {line.id: line for line in plan.findings}
    for question in plan.questions:
        line = lines.get(question.finding or "")
        where = f"{line.zone_name}: " if line else ""
        yield Row(
            f"question-{question.finding or WHOLE}-{question.question}",
            hanging("  ?", f"{where}{question.ask}", question.because),
            question=question.question,
            finding=question.finding,
        )
