"""The dimensions of the sweep, worked out from the knowledge itself.

A combination is one finding of one deposit in one zone of one taxon group, on a specimen that is
ready for work but for its hydration and its fragility, at one kind of bench.
"""

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache, partial
from types import MappingProxyType

from triage.case.changes import new_case, new_finding
from triage.case.models import Case
from triage.case.profile import Bench, RoomProfile
from triage.engine.casefacts import facts_from
from triage.engine.consult import Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.vocabulary import CONTROLS, NONE, UNKNOWN
from triage.errors import TriageError, did_you_mean
from triage.knowledge.rules import Family
from triage.knowledge.specimen import STAGES

HYDRATION = "hydration"
DRY = "dry"
IN_FLUID = "fluid-preserved"
TOO_WET = "too-wet"
FINDING = "f1"
CASE = "combination"
BARE = Bench()
FIRST = (Family.RECOGNISE, Family.GATE)
BEST = "hood"
EVERY_CIRCUMSTANCE = "every-circumstance"
EMPTY_SHELF = "empty-shelf"
Answers = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Combination:
    """One point of the sweep, without its bench; ``floor`` is the fragility asked for."""

    deposit: str
    zone: str
    taxon: str
    floor: str
    hydration: str

    def words(self) -> str:
        """Return the combination in words."""
        what = f"{self.deposit} on {self.zone} of {self.taxon}"
        return f"{what}, {self.floor}, {self.hydration}"


@dataclass(frozen=True)
class Axes:
    """The values of each dimension; ``unknown`` and ``none`` (not identified) included.

    ``base`` are answers with which work may begin; ``floors`` gives, for each grade of fragility
    that a sign can give, the answers that give it.
    """

    deposits: tuple[str, ...]
    zones: tuple[str, ...]
    taxa: tuple[str, ...]
    floors: Mapping[str, Answers]
    hydrations: tuple[str, ...]
    benches: Mapping[str, Bench]
    base: Answers

    @property
    def shape(self) -> tuple[int, ...]:
        """How many values zone, taxon, floor and hydration have."""
        return tuple(map(len, (self.zones, self.taxa, self.floors, self.hydrations)))

    def count(self) -> int:
        """Return how many combinations there are, benches included."""
        return math.prod((len(self.deposits), *self.shape, len(self.benches)))

    def of_deposit(self, deposit: str, *zones: str) -> Iterator[Combination]:
        """Yield every combination of one deposit, in the order of ``shape``; of some zones alone."""
        places = itertools.product(zones or self.zones, self.taxa, self.floors, self.hydrations)
        return itertools.starmap(partial(Combination, deposit), places)

    def answers(self, combination: Combination) -> dict[str, str]:
        """Return the answers about the specimen in a combination."""
        answers = {**self.base, **self.floors[combination.floor]}
        answers[HYDRATION] = combination.hydration
        return {question: answer for question, answer in answers.items() if answer != UNKNOWN}

    def case(self, combination: Combination) -> Case:
        """Return a combination as a case with one finding whose deposit a person has named."""
        named = None if combination.deposit == NONE else combination.deposit
        finding = new_finding(FINDING, combination.zone, named=named)
        return new_case(
            CASE, taxon=combination.taxon, answers=self.answers(combination), findings=(finding,)
        )


def bench_classes(consultant: Consultant) -> dict[str, Bench]:
    """Return the kinds of bench: each control; the best one with no stock or every circumstance."""
    benches = {
        control: Bench(name=control, room=RoomProfile(control=control))
        for control in (*CONTROLS, UNKNOWN)
    }
    best = benches[BEST]
    circumstances = tuple(consultant.knowledge.circumstances)
    benches[EVERY_CIRCUMSTANCE] = best.model_copy(
        update={"name": EVERY_CIRCUMSTANCE, "circumstances": circumstances}
    )
    benches[EMPTY_SHELF] = best.model_copy(update={"name": EMPTY_SHELF, "only_stock": True})
    return benches


def _specimen(
    consultant: Consultant, taxon: str, answers: Answers, families: tuple[Family, ...]
) -> Conclusions:
    """Return what these families conclude; none of them reads what a later one concludes."""
    known = {question: answer for question, answer in answers.items() if answer != UNKNOWN}
    # One finding of each deposit, so that answers that only matter to one of them show as well.
    findings = tuple(
        new_finding(f"f{place}", UNKNOWN, named=deposit)
        for place, deposit in enumerate(consultant.knowledge.deposits, start=1)
    )
    case = new_case(CASE, taxon=taxon, answers=known, findings=findings)

    def run(family: Family, facts: tuple[Fact, ...]) -> tuple[Conclusion, ...]:
        return consultant.run_plain(family, facts) if family in families else ()

    return consultant.consult_facts(facts_from(case, BARE, consultant.vocabulary), (), run)


def _burden(consultant: Consultant, taxon: str, answers: Answers) -> tuple[int, ...]:
    """Return how far a specimen is from work: refusals, gates, fragility, forbidden methods."""
    found = _specimen(consultant, taxon, answers, (*FIRST, Family.FORBID))
    before = STAGES[: STAGES.index("clean")]
    shut = sum(c.get("stage") in before for c in found.of(Family.GATE, "close"))
    grades = tuple(consultant.knowledge.fragility)
    fragility = grades.index(found.fact("specimen").get("fragility"))
    # Two reasons for one grade: only the taking away of both lowers it, of each the number.
    reasons = len([c for c in found.of(Family.RECOGNISE, "grade") if not c.get("finding", "")])
    forbids = sum(len(c.get("method")) for c in found.of(Family.FORBID, "forbid"))
    return len(found.of(Family.GATE, "refuse")), shut, fragility, reasons, forbids


def sturdiest_taxon(consultant: Consultant) -> str:
    """Return the first of the sturdiest taxon groups."""
    grades = tuple(consultant.knowledge.fragility)
    return min(consultant.knowledge.taxa.values(), key=lambda t: grades.index(t.fragility)).id


def _specimen_questions(consultant: Consultant) -> dict[str, tuple[str, ...]]:
    return {
        question.id: (UNKNOWN, *(answer.id for answer in question.answers))
        for question in consultant.knowledge.questions.values()
        if question.about == "specimen"
    }


def base_answers(consultant: Consultant) -> dict[str, str]:
    """Return the answers that leave least in the way of work, found question by question.

    No question is named here, so a new gate or a renamed question is met by itself. A sturdy group
    shows what an answer does to fragility, an unknown one what any group asks.
    """
    questions = _specimen_questions(consultant)
    answers = dict.fromkeys(questions, UNKNOWN)
    taxa = (sturdiest_taxon(consultant), UNKNOWN)

    @cache
    def burden(*tried: str) -> tuple[int, ...]:
        told = dict(zip(questions, tried, strict=True))
        counts = [_burden(consultant, taxon, told) for taxon in taxa]
        return tuple(sum(column) for column in zip(*counts, strict=True))

    for _ in range(2):
        for question, choices in questions.items():
            # The answer so far first: of two that are alike it stays.
            tried = [answers[question], *(c for c in choices if c != answers[question])]
            burdens = {c: burden(*{**answers, question: c}.values()) for c in tried}
            answers[question] = min(burdens, key=burdens.__getitem__)
    return answers


def floor_answers(consultant: Consultant, base: Answers) -> dict[str, Answers]:
    """Return, for each grade of fragility, answers that give a sturdy specimen this grade."""
    grades = tuple(consultant.knowledge.fragility)
    taxon = sturdiest_taxon(consultant)
    found: dict[str, Answers] = {}
    for question, choices in _specimen_questions(consultant).items():
        for choice in choices if question != HYDRATION else ():
            conclusions = _specimen(consultant, taxon, {**base, question: choice}, FIRST)
            grade = conclusions.fact("specimen").get("fragility")
            # What a finding shuts is that finding's own: the sweep looks at each by itself.
            gates = {
                c.get("stage")
                for c in conclusions.of(Family.GATE, "close")
                if set(c.facts) <= {"specimen", "bench"}
            }
            is_open = gates.isdisjoint(STAGES[: STAGES.index("clean")])
            if is_open and not conclusions.of(Family.GATE, "refuse"):
                found.setdefault(grade, {question: choice})
    plain = _specimen(consultant, taxon, base, FIRST).fact("specimen").get("fragility")
    return {grade: {} if grade == plain else found[grade] for grade in grades if grade in found}


def contradicted(consultant: Consultant, base: Answers) -> frozenset[str]:
    """Return the states that only one answer brings with it, where the base answers otherwise."""
    brought: dict[str, list[tuple[str, str]]] = {}
    for question in consultant.knowledge.questions.values():
        for answer in question.answers:
            if state := answer.implies.get(HYDRATION):
                brought.setdefault(state, []).append((question.id, answer.id))
    only = {state: by[0] for state, by in brought.items() if len(by) == 1}
    return frozenset(state for state, (q, answer) in only.items() if base[q] != answer)


def axes_of(consultant: Consultant, told: Answers = MappingProxyType({})) -> Axes:
    """Return the dimensions of the sweep for this knowledge; ``told`` is so in all of it."""
    knowledge, questions = consultant.knowledge, _specimen_questions(consultant)
    for question, answer in told.items():
        if answer not in questions.get(question, ()):
            wanted = answer if question in questions else question
            mend = did_you_mean(wanted, questions.get(question, questions))
            raise TriageError(f'"{question}={answer}" is no answer', mend=mend)
    base = {**base_answers(consultant), **told}
    hydration = questions[HYDRATION]
    return Axes(
        deposits=(*knowledge.deposits, NONE),
        zones=(*knowledge.zones, UNKNOWN),
        taxa=(*knowledge.taxa, UNKNOWN),
        floors=floor_answers(consultant, base),
        hydrations=(*hydration[1:], UNKNOWN),
        benches=bench_classes(consultant),
        base=base,
    )
