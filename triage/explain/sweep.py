"""The outline of many slightly different cases: what-if at the price of what differs."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from copy import copy
from dataclasses import dataclass
from typing import Literal

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import SPECIMEN, TAXON, facts_from
from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.many import Many, with_values
from triage.engine.recognition import Summary
from triage.engine.vocabulary import UNKNOWN
from triage.exposure.day import DayLedger
from triage.knowledge.book import Knowledge
from triage.plan.airjudge import AirJudge
from triage.plan.ladder import BenchBars, Rulings, rulings
from triage.plan.questions import is_put
from triage.plan.skeleton import Outline, Work

# (``specimen`` or a finding, question), and answers put there.
Place = tuple[str, str]
Values = Mapping[Place, str]


class Lookahead:
    """Gives the outline of a case and of its variants on one bench and day.

    The consultation is that of ``many``, which look-aheads on several benches share; the ladders
    and their order are those of the planner. Tests hold each outline equal to the skeleton that
    forward chaining gives for the same changed case.
    """

    def __init__(
        self,
        consultant: Consultant,
        bench: Bench,
        judge: AirJudge | None = None,
        *,
        many: Many[Rulings] | None = None,
    ) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.bench = bench
        self.judge = judge or AirJudge(self.knowledge, bench, DayLedger())
        self.many = many or Many(consultant, rulings)
        self.bars = BenchBars(self.knowledge, bench, self.judge)

    def on_bench(self, bench: Bench) -> Lookahead:
        """Return the look-ahead on another bench; what the bench cannot change is shared."""
        return Lookahead(self.consultant, bench, self.judge.beside(bench), many=self.many)

    def facts(self, case: Case) -> tuple[Fact, ...]:
        """Return the facts of a case on this bench, to be varied with ``with_values``."""
        return facts_from(case, self.bench, self.consultant.vocabulary)

    def work(self, case: Case) -> Work:
        """Return the work behind a case and its variants."""
        return Work(case, self.bars)

    def of_case(self, case: Case) -> Outline:
        """Return the outline of a case as it stands."""
        return self.outline(self.facts(case), self.work(case))

    def outline(self, facts: tuple[Fact, ...], work: Work) -> Outline:
        """Return the outline of a case with these facts and this work behind it.

        Facts come as ``facts_from`` gives them: the specimen, the bench, the findings.
        """
        base = work.bases.get(id(facts[0]))
        near = base[0] if base else None
        drawn = self.many.drawn(facts, work.closed, near)
        if base is not None and drawn is near:
            return base[1]
        settled = tuple([each.settled for each in drawn.read])
        key = (drawn.gates, settled, drawn.states, drawn.pieces)
        found = work.seen.get(key)
        if found is None:
            found = work.seen[key] = work.outline(*key)
        if base is None:
            work.bases[id(facts[0])] = drawn, found
        return found


@dataclass(frozen=True, slots=True)
class Change:
    """One change of a case or bench: what, from what, to what."""

    kind: Literal["answer", "bench", "attempt"]
    finding: str | None
    what: str
    before: str
    after: str

    @property
    def place(self) -> Place:
        """Return the fact and field in which a changed answer stands."""
        return self.finding or SPECIMEN, self.what


class Sweep:
    """The single-answer changes of one case; each outline is worked out once.

    ``declined`` are (fact, question) places to which "cannot tell" was answered: not asked again.
    ``before`` is a sweep of the same case before its last answers; what still holds is taken over.
    """

    def __init__(
        self,
        look: Lookahead,
        case: Case,
        declined: frozenset[Place] = frozenset(),
        before: Sweep | None = None,
    ) -> None:
        self.declined = declined
        self.look = look
        self.knowledge: Knowledge = look.knowledge
        self.case = case
        self.facts = look.facts(case)
        keeps = before is not None and before.look is look and _same_work(before.case, case)
        self.work: Work = before.work if before and keeps else look.work(case)
        self.known: dict[frozenset[tuple[Place, str]], Outline] = {}
        if before is not None and keeps and before.case == case:
            self.facts, self.known = before.facts, before.known
        self.base = look.outline(self.facts, self.work)

    def outline(self, values: Values) -> Outline:
        """Return the outline with other values in some places."""
        key = frozenset(values.items())
        found = self.known.get(key)
        if found is None:
            facts = with_values(self.facts, values)
            found = self.known[key] = self.look.outline(facts, self.work)
        return found

    def varied(self, values: Values) -> Sweep:
        """Return the same case with other values in some places, to be varied further."""
        other = copy(self)
        other.facts, other.known = with_values(self.facts, values), {}
        other.base = self.look.outline(other.facts, self.work)
        return other

    def read(self, finding: str, values: Values | None = None) -> Summary:
        """Return how a finding is read, with other values in some places."""
        facts, reader = with_values(self.facts, values or {}), self.look.many.reader
        fact = next(fact for fact in facts if fact.key == finding)
        return reader.finding(fact, facts[0], facts[1], reader.several(facts))

    def fact(self, key: str) -> Fact:
        """Return the fact of the specimen or of a finding."""
        return next(fact for fact in self.facts if fact.key == key)

    def is_open(self, finding: str) -> bool:
        """Return whether a finding still has a ladder that could change: not cleared, accepted."""
        return finding not in self.work.closed

    def places(self) -> Iterator[tuple[Fact, str, tuple[str, ...]]]:
        """Yield each fact and question with the answers it may take, in file order."""
        questions = self.knowledge.questions.values()
        for fact in self.facts:
            if fact.kind == SPECIMEN:
                yield fact, TAXON, tuple(self.knowledge.taxa)
            about = {SPECIMEN: "specimen", "finding": "zone"}.get(fact.kind)
            for question in questions:
                if question.about == about:
                    yield fact, question.id, tuple(answer.id for answer in question.answers)

    def answers(self) -> Iterator[Change]:
        """Yield every change of one answer, taking one back included."""
        for fact, question, answers in self.places():
            before, finding = fact.fields[question], None if fact.kind == SPECIMEN else fact.key
            for after in (*answers, UNKNOWN):
                if after != before:
                    yield Change("answer", finding, question, before, after)

    def open_places(self) -> Iterator[tuple[Fact, str, tuple[str, ...]]]:
        """Yield each fact and question still to be put, with the answers it may take."""
        for fact, question, answers in self.places():
            is_open = fact.kind != "finding" or self.is_open(fact.key)
            is_asked = fact.fields[question] == UNKNOWN
            if is_open and is_asked and (fact.key, question) not in self.declined:
                finding = fact.key if fact.kind == "finding" else None
                if is_put(self.knowledge, self.case, finding, question):
                    yield fact, question, answers


def _same_work(one: Case, other: Case) -> bool:
    """Return whether two states of a case have the same attempts behind them."""
    return (
        one.id == other.id
        and one.attempts == other.attempts
        and one.releases == other.releases
        and one.overrides == other.overrides
        and [(f.id, f.accepted) for f in one.findings]
        == [(f.id, f.accepted) for f in other.findings]
    )
