"""An account becomes a case and a bench, as a user would enter them; what cannot be is named."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from datetime import UTC, datetime, timedelta
from typing import Any, NamedTuple

from tests.casebook.model import Account, Act, Room, Tried, table
from tests.support.intake import READY
from triage.case import changes
from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.plan.outcomes import answers_after, condition_target, finding_target, step_id
from triage.plan.planner import Planner
from triage.plan.questions import with_told

BEGUN = datetime(2026, 3, 4, 8, 0, tzinfo=UTC)
# How soft, how large and how often softened it is are not to be guessed, nor what is wanted of it.
GUESSED = frozenset(READY) - {"aim", "hydration", "joints-stuck", "size", "relaxed-before"}


class Entered(NamedTuple):
    """What a user would have in the program, and what had to be left out."""

    case: Case
    bench: Bench
    unsaid: tuple[str, ...]

    def with_the_rest(self, turns_on: Iterable[str]) -> Entered:
        """Return the same as on a sound specimen, but for the questions that the case turns on."""
        rest = sorted(GUESSED - {*self.case.answers, *turns_on})
        case = changes.with_answers(self.case, {question: READY[question] for question in rest})
        return self._replace(case=case)


def entered(account: Account, planner: Planner) -> Entered:
    """Return the case and the bench of an account, its records played in."""
    knowledge, unsaid, given = planner.knowledge, list(account.unsayable), account.given
    answers = _sayable(knowledge, "specimen", _told(account), unsaid)
    findings = []
    for seen in given.findings:
        signs = _sayable(knowledge, "zone", seen.signs.items(), unsaid)
        if seen.zone in knowledge.zones:
            findings.append({"id": seen.id, "zone": seen.zone, "signs": signs})
        else:
            unsaid.append(f"zone: {seen.zone}")
    if given.taxon not in (*knowledge.taxa, "unknown"):
        unsaid.append(f"group: {given.taxon}")
    taxon = given.taxon if given.taxon in knowledge.taxa else "unknown"
    case = changes.new_case(account.id, taxon=taxon, findings=findings)
    for question, answer in answers.items():
        case = with_told(knowledge, case, question, answer)
    bench = _bench(knowledge, given.bench, unsaid)
    for record in account.records:
        case = _with_record(planner, case, bench, record, unsaid)
    # The answers are those of today: what a record changed stood before them.
    return Entered(changes.with_answers(case, answers), bench, tuple(unsaid))


def _told(account: Account) -> Iterator[tuple[str, str]]:
    """Yield what is told of the specimen, also what no question takes yet."""
    yield from (*account.given.answers.items(), ("aim", account.aim), ("arrival", account.arrival))
    for fact in account.given.history:
        for key, told in ({"history": fact} if isinstance(fact, str) else fact).items():
            yield from ((key, str(each)) for each in (told if isinstance(told, list) else [told]))


def _sayable(
    knowledge: Knowledge, about: str, told: Iterable[tuple[str, str]], unsaid: list[str]
) -> dict[str, str]:
    asked = {q.id: q.answers for q in knowledge.questions.values() if q.about == about}
    said = {}
    for question, answer in told:
        if any(answer == each.id for each in asked.get(question, ())):
            said[question] = answer
        else:
            unsaid.append(f"{question}: {answer}")
    return said


def _bench(knowledge: Knowledge, room: Room, unsaid: list[str]) -> Bench:
    """Return the bench: at home with a window, if the account does not say otherwise."""
    known = (*knowledge.circumstances, *knowledge.equipment, "")
    named = (*room.circumstances, *room.equipment, room.note)
    unsaid += [f"bench: {word}" for word in named if word not in known]
    usual = "hood" if "fume-hood" in room.equipment else "window"
    return Bench(
        name="bench of the account",
        room={"control": room.control or usual, "place": "home"},
        circumstances=tuple(c for c in room.circumstances if c in knowledge.circumstances),
        equipment=tuple(e for e in room.equipment if e in knowledge.equipment),
    )


def outcome_of(words: str) -> str | None:
    """Return the outcome of the program for an account's words, None if none fits."""
    outcomes = table().outcomes.items()
    return next((o for o, begins in outcomes if words.lower().startswith(tuple(begins))), None)


def is_method(knowledge: Knowledge, act: Act, method: str) -> bool:
    """Return whether a method is an act, with one of its agents where the act names some."""
    agents = {*agent_ids(knowledge, method)} & {*act.agent}
    return method in table().acts[act.act].methods and (not act.agent or bool(agents))


def _with_record(
    planner: Planner, case: Case, bench: Bench, record: Tried, unsaid: list[str]
) -> Case:
    """Return the case with the passes of a record, on the steps of the plan that they belong to."""
    outcome = outcome_of(record.outcome)
    for number in range(record.passes):
        told = _fields(planner, case, bench, record)
        if outcome is None or told is None:
            unsaid.append(f"record: {record}, {record.outcome}")
            return case
        # A pass that was not the last left something to do.
        ended = "better" if outcome == "cleared" and number + 1 < record.passes else outcome
        at = BEGUN + timedelta(hours=len(case.attempts))
        name = case.next_attempt_id()
        attempt = changes.new_attempt(name, at, outcome=ended, note=record.outcome, **told)
        given = answers_after(planner.knowledge, attempt, case.answers)
        case = changes.with_answers(changes.with_attempt(case, attempt), given)
    return case


def _fields(planner: Planner, case: Case, bench: Bench, record: Tried) -> dict[str, Any] | None:
    """Return what an attempt says of its step, None if the program has no such step.

    It is the step on its finding, else on the whole specimen. One that the plan does not offer now
    was offered earlier: it is recorded on the state that the act is about, or on its finding.
    """
    knowledge, entry = planner.knowledge, table().acts[record.act]
    for finding in (record.finding, None):
        for step in planner.plan(case, bench).steps:
            if step.finding == finding and is_method(knowledge, record, step.method):
                names = ("finding", "zone", "deposit", "method", "agent", "amount_ml")
                also = tuple(served.finding for served in step.also)
                return {"step": step.id, "also": also, **{n: getattr(step, n) for n in names}}
    method = next((m for m in entry.methods if is_method(knowledge, record, m)), None)
    finding = None if entry.about else record.finding
    if method is None or not (finding or entry.about):
        return None
    target = finding_target(finding) if finding else condition_target(str(entry.about))
    zone = case.finding(finding).zone if finding else None
    told = {"finding": finding, "zone": zone, "deposit": target.condition, "method": method}
    return {"step": step_id(target, method), "agent": knowledge.methods[method].agent, **told}
