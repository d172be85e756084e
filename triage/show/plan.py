"""A plan: to be read on the screen of a terminal, and to be printed as a bench sheet."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from triage.case.models import Case
from triage.history.advice import SkipSuggestion
from triage.knowledge.book import Knowledge
from triage.looks import LEFT, is_ready_for_camera
from triage.plan.model import Excluded, Plan, QuestionLine, Step
from triage.plan.names import RECORD, finding_names, own_record, zone_words
from triage.show.blocks import Alert, Block, Heading, Line, Listing, Paper, Table, lines_of, listing
from triage.show.step import step_blocks, step_line
from triage.show.words import (
    CLOSING,
    NO_STEP,
    RISK_WORDS,
    STATUS_WORDS,
    alerts,
    other_readings,
    sentence,
    state_word,
    step_place,
    taken_for,
)

QUESTIONS_SHOWN = 4
NEXT_SHOWN = 3
FINDING_HEAD = ("finding", "where", "taken for", "how sure", "state")


def finding_blocks(plan: Plan) -> Iterator[Line]:
    """Yield the findings by the id that a command calls them by, those read alike together."""
    alike: dict[tuple[str, str], list[str]] = {}
    for finding in plan.findings:
        where = f"{finding.id} {zone_words(finding.zone_name, finding.side)}"
        alike.setdefault((taken_for(finding), other_readings(finding)), []).append(where)
    for (told, other), places in alike.items():
        yield Line(f"{'; '.join(places)}: {told}", depth=1)
        if other:
            yield Line(other, depth=2)


def question_blocks(question: QuestionLine) -> Iterator[Line]:
    """Yield one open question with its answers."""
    whose = question.finding or "specimen"
    answers = ", ".join(answer for answer, _ in question.answers)
    yield Line(f"{whose} {question.question}: {question.ask} [{answers}]", depth=1)
    danger = "" if question.risk == "none" else f" It {RISK_WORDS[question.risk]}."
    yield Line(f"how: {question.how}{danger}", depth=2)


def head_blocks(plan: Plan) -> Iterator[Block]:
    """Yield which case it is, and what must not be overlooked."""
    yield Line(f"case {plan.case}: {plan.title}".rstrip(": "))
    yield Line(f"stage: {plan.stage}")
    yield from (Alert(told) for told in alerts(plan))


def camera_lines(knowledge: Knowledge, case: Case, plan: Plan) -> tuple[str, ...]:
    """Return that the specimen is ready for the camera, what was left on it and why; else none."""
    if not is_ready_for_camera(knowledge, case, plan):
        return ()
    reasons = {found.id: found.reason for found in case.findings if found.accepted}
    clean = {found.id for found in case.findings if found.is_clean}
    left = [line for line in plan.findings if line.state in LEFT and line.id not in clean]
    told = tuple(
        f"- {zone_words(line.zone_name, line.side)}: {line.deposit_name}, {state_word(line)}. "
        f"{sentence(reasons.get(line.id) or line.leave_it)}".rstrip()
        for line in left
    )
    return (
        "Ready for the camera",
        *(
            ("Left on it, to be expected in the picture:", *told)
            if told
            else ("Nothing was left.",)
        ),
        "Take the picture, then keep it.",
    )


def by_reason(left_out: list[Excluded]) -> dict[tuple[str, bool], list[str]]:
    """Return each reason (and whether nobody can release it) with the methods it rules out."""
    reasons: dict[tuple[str, bool], list[str]] = {}
    for item in left_out:
        held = reasons.setdefault((item.because, item.interlock), [])
        if item.method_name not in held:
            held.append(item.method_name)
    return reasons


def _ruled_out(plan: Plan, near: Iterable[Step], *, whole: bool) -> Iterator[Block]:
    """Yield what was offered and ruled out, the places where it is the same together.

    With every reason, or each method with the first: then only where a step is near, or none is.
    """
    names = finding_names(plan)
    worked = {finding for step in plan.steps for finding in step.findings}
    close = {finding for step in near for finding in step.findings}
    alike: dict[tuple[Line, ...], list[str]] = {}
    for finding in dict.fromkeys(item.finding for item in plan.excluded):
        ruled = [e for e in plan.excluded if e.offered and e.finding == finding]
        if not whole:
            ruled = list({item.method: item for item in reversed(ruled)}.values())[::-1]
        if ruled and (whole or (finding and (finding in close or finding not in worked))):
            lines = (
                Line(f"{', '.join(methods)}: {because}", depth=1)
                for (because, _), methods in by_reason(ruled).items()
            )
            alike.setdefault(tuple(lines), []).append(names.get(finding or "", "whole specimen"))
    for told, places in alike.items():
        yield from (Line(f"ruled out, {'; '.join(places)}"), *told)


def near_and_rest(plan: Plan) -> tuple[tuple[Step, ...], tuple[Step, ...]]:
    """Return the step now with up to three behind it, and those that are further away."""
    near = [step for step in plan.steps if step.status != "if-needed"][: 1 + NEXT_SHOWN]
    return tuple(near), tuple(step for step in plan.steps if step not in near)


def rest_words(rest: Sequence[Step]) -> str:
    """Return how many steps stand behind those that are near."""
    return f"{len(rest)} harsher or later step{'' if len(rest) == 1 else 's'} if needed"


def plan_blocks(plan: Plan, *, whole: bool, sure: Mapping[str, str]) -> Iterator[Block]:
    """Yield the plan: the next step in full, the others by name unless ``whole``."""
    yield from head_blocks(plan)
    yield Line(f"bench: {plan.bench}; knowledge {plan.knowledge_digest}")
    if plan.findings:
        yield from (Line(""), Line("findings"), *finding_blocks(plan))
    if plan.questions:
        yield from (Line(""), Line("questions that would help"))
        for question in plan.questions[: None if whole else QUESTIONS_SHOWN]:
            yield from question_blocks(question)
    for test in plan.untested if whole else ():
        yield Line(f"{test.finding} {test.question}: not tested here. {test.because}", depth=1)
    yield from (Line(""), Line("steps" if plan.steps else NO_STEP))
    near, rest = (plan.steps, ()) if whole else near_and_rest(plan)
    for place, step in enumerate(near):
        yield Line(step_line(step), depth=1)
        record = own_record(step)
        if whole or place == 0:
            yield from step_blocks(step, sure.get(step.id, ""))
        elif record:
            yield Line(f"{RECORD}{record}", depth=2)
    if rest:
        yield Line(f"{rest_words(rest)}; --whole shows them", depth=1)
    ruled = tuple(_ruled_out(plan, near, whole=whole))
    if ruled:
        yield from (Line(""), *ruled)
    yield from (Line(""), Line(CLOSING))


def skip_blocks(skips: Iterable[SkipSuggestion], case: str) -> Iterator[Line]:
    """Yield each rung that may be skipped, why, and how a person accepts it."""
    for each in skips:
        yield Line(f"could be skipped: {each.step}. {each.reason}")
        yield Line(f"accept it with: triage worked {case} --accept {each.step}", depth=1)


def plan_text(plan: Plan, *, whole: bool = False, sure: Mapping[str, str] | None = None) -> str:
    """Return the plan as text; ``sure`` says by the id of a step whether it could still move."""
    return "\n".join(lines_of(plan_blocks(plan, whole=whole, sure=sure or {}))) + "\n"


def sheet_of(plan: Plan, *, whole: bool = False, photos: Iterable[Block] = ()) -> Paper:
    """Return the bench sheet of a plan.

    Parameters
    ----------
    whole  every step in full; otherwise those that are only needed if one before fails are listed
           by name
    photos what the photos of earlier attempts told
    """
    return Paper(plan.title or plan.case, tuple(_sheet(plan, tuple(photos), whole=whole)), CLOSING)


def _sheet(plan: Plan, photos: Sequence[Block], *, whole: bool) -> Iterator[Block]:
    yield Line(
        f"case {plan.case}; stage {plan.stage}; bench {plan.bench}; "
        f"knowledge {plan.knowledge_digest}"
    )
    yield Listing("", ("date", "hand"), "write")
    yield from (Alert(told) for told in alerts(plan))
    if plan.findings:
        yield Table(
            FINDING_HEAD,
            tuple(
                (
                    line.id,
                    zone_words(line.zone_name, line.side),
                    line.deposit_name,
                    line.standing,
                    state_word(line),
                )
                for line in plan.findings
            ),
        )
    yield from (*(Line("What the photos told", is_bold=True),) * bool(photos), *photos)
    full = [step for step in plan.steps if whole or step.status != "if-needed"]
    for number, step in enumerate(full, start=1):
        mark = f"{number} {STATUS_WORDS[step.status]}"
        yield Heading(step.name, mark, f"{step_place(step)} [{step.id}]")
        yield from step_blocks(step)
        yield Listing("What came of it", tuple(step.outcomes.values()), "choose")
        fields = ("date, time", "pass", "amount (mL)", "minutes", "note")
        kept = [field for field in fields if step.amount_ml is not None or "mL" not in field]
        yield Listing("", tuple(kept), "write")
    if not full:
        yield Line(NO_STEP)
    later = [f"{step.name} - {step_place(step)}" for step in plan.steps if step not in full]
    yield from listing("Only if one before fails", *later)
    yield Line(CLOSING, is_bold=True)
    sources = dict.fromkeys(source for step in full for source in step.sources)
    if sources:
        yield Line(f"Sources: {', '.join(sources)}")
