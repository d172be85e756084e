"""One consultation: facts through all families of rules to conclusions with their trail."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, cached_property

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.build import RuleEngine, build_engine
from triage.engine.casefacts import Locate, facts_from, nowhere
from triage.engine.facts import Conclusion, Fact, sorted_conclusions
from triage.engine.indexed import RuleIndex
from triage.engine.normal import NormalRule, NormalRules, normalise
from triage.engine.plain import evaluate
from triage.engine.reading import (
    Conflict,
    GuardReach,
    Reading,
    conflicts_of,
    group_evidence,
    read_finding,
)
from triage.engine.vocabulary import NONE
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import FAMILIES, Family

Runner = Callable[[Family, tuple[Fact, ...]], tuple[Conclusion, ...]]
# Evidence on both sides from which a contradiction is shown: always if both are very strong,
# else where the deposit is still counted among the candidates.
STRONG = 0.4
VERY_STRONG = 0.6
COUNTED = frozenset({"suspected", "likely", "settled"})
# Standings that no rule reads.
UNREAD = frozenset({"excluded", "doubtful", "open"})


@dataclass(frozen=True)
class Conclusions:
    """All that the rules concluded about one case, by family, with the facts they read."""

    facts: tuple[Fact, ...]
    by_family: Mapping[Family, tuple[Conclusion, ...]]
    readings: tuple[Reading, ...]
    conflicts: tuple[Conflict, ...]

    def of(self, family: Family, kind: str = "") -> tuple[Conclusion, ...]:
        """Return the conclusions of a family, of one kind if named."""
        found = self.by_family.get(family, ())
        return tuple(c for c in found if not kind or c.kind == kind)

    def fact(self, key: str) -> Fact:
        """Return the fact with this key."""
        return next(fact for fact in self.facts if fact.key == key)

    def readings_of(self, finding: str) -> tuple[Reading, ...]:
        """Return the readings of one finding, the most certain first."""
        return tuple(r for r in self.readings if r.finding == finding)

    def settled(self, finding: str) -> Reading | None:
        """Return the settled reading of a finding, if there is one."""
        return next((r for r in self.readings_of(finding) if r.standing == "settled"), None)

    def followed_by(self, by_family: Mapping[Family, tuple[Conclusion, ...]]) -> Conclusions:
        """Return what recognition came to with all that the families conclude."""
        shut = closed_facts(closed_stages(by_family[Family.GATE]))
        return replace(self, facts=(*self.facts, *shut), by_family=by_family)


class Consultant:
    """The compiled rulebase: its engine is built once, reset for every consultation."""

    def __init__(self, knowledge: Knowledge, normal: NormalRules | None = None) -> None:
        self.knowledge = knowledge
        self.normal = normal or normalise(knowledge)
        self.vocabulary = self.normal.vocabulary
        self.guards = frozenset(d.id for d in knowledge.deposits.values() if d.guard != NONE)
        questions = knowledge.questions.values()
        tests = frozenset(q.id for q in questions if q.risk != "none" and q.about == "zone")
        recognise, disproves = (
            self.normal.by_family[Family.RECOGNISE],
            knowledge.judgement.disproves,
        )
        self.reach = GuardReach(recognise, self.guards, tests, disproves.value)
        self._indexes: dict[Family, RuleIndex] = {}
        self.grades = {grade: rank for rank, grade in enumerate(knowledge.fragility)}
        # An unknown group is as fragile as the most fragile group there is.
        self.worst_group = max(
            (self.grades[t.fragility] for t in knowledge.taxa.values()), default=0
        )

    @cached_property
    def rules(self) -> dict[str, NormalRule]:
        """Every rule in normal form, by its id."""
        return {rule.id: rule for rules in self.normal.by_family.values() for rule in rules}

    def rule(self, name: str) -> NormalRule:
        """Return a rule in normal form by its id."""
        return self.rules[name]

    @cached_property
    def deposits_by_question(self) -> dict[str, frozenset[str]]:
        """Question -> deposits that its answers speak for or against."""
        found: dict[str, set[str]] = {}
        for rule in self.normal.by_family[Family.RECOGNISE]:
            deposits = {
                dict(t.constants).get("deposit") for t in rule.templates if t.kind == "evidence"
            }
            for pattern in rule.patterns:
                for name, _ in pattern.allowed:
                    found.setdefault(name, set()).update(d for d in deposits if d)
        return {name: frozenset(deposits) for name, deposits in found.items()}

    @cached_property
    def engine(self) -> RuleEngine:
        """Return the one engine of all families, built at the first consultation."""
        rules = (rule for family in FAMILIES for rule in self.normal.by_family[family])
        return build_engine("Rulebase", rules, combines=True)

    def run_plain(self, family: Family, facts: tuple[Fact, ...]) -> tuple[Conclusion, ...]:
        """Run one family as an indexed pure function; same conclusions, no agenda."""
        return self.index(family).evaluate(facts)

    def run_unindexed(self, family: Family, facts: tuple[Fact, ...]) -> tuple[Conclusion, ...]:
        """Run one family by the plainest evaluator, which shares no index with the engines."""
        return evaluate(self.normal.by_family[family], facts)

    def index(self, family: Family) -> RuleIndex:
        """Return the index over the rules of a family, built when it is first asked for."""
        if family not in self._indexes:
            self._indexes[family] = RuleIndex(self.normal.by_family[family])
        return self._indexes[family]

    def consult(
        self,
        case: Case,
        bench: Bench,
        closed: Iterable[str] = (),
        *,
        locate: Locate = nowhere,
        plain: bool = False,
    ) -> Conclusions:
        """Return all conclusions about a case on a bench.

        Parameters
        ----------
        case    the record
        bench   the user's bench
        closed  ids of findings that attempts have cleared or a person has accepted
        locate  gives the place of an answer in the case file, for errors
        plain   use the pure function instead of experta (what-if, sweep)

        Raises
        ------
        TriageError: the case names something the knowledge does not have.
        """
        facts = facts_from(case, bench, self.vocabulary, locate)
        if plain:
            return self.consult_facts(facts, closed, self.run_plain)
        return self.chain(facts, closed)

    def chain(self, facts: tuple[Fact, ...], closed: Iterable[str] = ()) -> Conclusions:
        """Return all conclusions from first facts: one run of the engine over all families."""
        middle: list[Conclusions] = []

        def combine(said: Sequence[Conclusion]) -> tuple[Fact, ...]:
            middle.append(self.recognised(facts, said, closed))
            return middle[-1].facts

        by_family: dict[Family, list[Conclusion]] = {family: [] for family in FAMILIES}
        for conclusion in self.engine.consult(facts, combine):
            by_family[self.rules[conclusion.rule].family].append(conclusion)
        return middle[0].followed_by({family: tuple(said) for family, said in by_family.items()})

    def consult_facts(
        self, facts: tuple[Fact, ...], closed: Iterable[str], run: Runner
    ) -> Conclusions:
        """Return all conclusions from first facts; ``run`` runs each family to its end."""
        said = run(Family.RECOGNISE, facts)
        middle = self.recognised(facts, said, closed)
        by_family: dict[Family, tuple[Conclusion, ...]] = {Family.RECOGNISE: said}
        known = middle.facts
        for family in FAMILIES[1:]:
            by_family[family] = run(family, known)
            if family is Family.GATE:
                known = (*known, *closed_facts(closed_stages(by_family[family])))
        return middle.followed_by(by_family)

    def recognised(
        self, facts: tuple[Fact, ...], said: Iterable[Conclusion], closed: Iterable[str]
    ) -> Conclusions:
        """Return what the conclusions of recognition come to, with the facts that follow."""
        said = sorted_conclusions(said)
        evidence = group_evidence(c for c in said if c.kind == "evidence")
        specimen = next(fact for fact in facts if fact.kind == "specimen")
        findings = [fact for fact in facts if fact.kind == "finding"]
        readings = tuple(
            reading
            for finding in findings
            for reading in read_finding(self.knowledge, self.reach, finding, specimen, evidence)
        )
        counted = {(r.finding, r.deposit) for r in readings if r.standing in COUNTED}
        conflicts = tuple(
            c
            for c in conflicts_of(evidence, STRONG)
            if c.strength >= VERY_STRONG or (c.finding, c.deposit) in counted
        )
        derived = self._derived(facts, said, readings, frozenset(closed))
        return Conclusions(derived, {Family.RECOGNISE: said}, readings, conflicts)

    def _derived(
        self,
        facts: tuple[Fact, ...],
        said: tuple[Conclusion, ...],
        readings: Iterable[Reading],
        closed: frozenset[str],
    ) -> tuple[Fact, ...]:
        """Return the facts with what recognition gave: fragility, settled readings, states."""
        settled = {r.finding: r.deposit for r in readings if r.standing == "settled"}
        left = {key for key, name in settled.items() if self.knowledge.deposits[name].is_left}
        grades, floors = tuple(self.knowledge.fragility), self._floors(facts, said)
        findings = [fact.key for fact in facts if fact.kind == "finding"]
        is_open = any(key not in closed and key not in left for key in findings)
        done: list[Fact] = []
        for fact in facts:
            fields = dict(fact.fields)
            if fact.kind == "specimen":
                fields["fragility"] = grades[floors[""]]
                fields["findings"] = "some" if findings else "none"
                fields["cleaning"] = "open" if is_open else "done" if findings else "none"
            elif fact.kind == "finding":
                fields["fragility"] = grades[max(floors.get(fact.key, 0), floors[""])]
                fields["settled"] = settled.get(fact.key, NONE)
            done.append(Fact(fact.kind, fact.key, fields))
        done += [read for r in readings if (read := self.reading_fact(r)) is not None]
        states = sorted({c.get("condition") for c in said if c.kind == "state"})
        return (*done, *map(state_fact, states))

    def floor_of_group(self, taxon: str) -> int:
        """Return how fragile a taxon group is, as a rank."""
        known = self.knowledge.taxa.get(taxon)
        return self.grades[known.fragility] if known else self.worst_group

    def _floors(
        self, facts: tuple[Fact, ...], recognised: tuple[Conclusion, ...]
    ) -> dict[str, int]:
        """Return the worst grade given to the specimen (``""``) and to each finding."""
        taxon = next(f for f in facts if f.kind == "specimen").get("taxon")
        floors = {"": self.floor_of_group(taxon)}
        for conclusion in recognised:
            if conclusion.kind == "grade":
                whose = conclusion.get("finding", "")
                grade = self.grades[conclusion.get("fragility")]
                floors[whose] = max(floors.get(whose, 0), grade)
        return floors

    def reaches(self, deposit: str, reach: float) -> bool:
        """Return whether open questions could still make a guard deposit suspected."""
        return deposit in self.guards and reach >= self.knowledge.judgement.suspected.value - 1e-9

    def reading_fact(self, reading: Reading) -> Fact | None:
        """Return what rules may read of a reading, None if there is nothing to it."""
        reaches = self.reaches(reading.deposit, reading.reach)
        if reading.standing in UNREAD and not reaches:
            return None
        fields = {
            "finding": reading.finding,
            "zone": reading.zone,
            "deposit": reading.deposit,
            "standing": reading.standing,
            "reach": "yes" if reaches else "no",
        }
        return Fact("reading", reading.key, fields)


@cache
def state_fact(condition: str) -> Fact:
    """Return a state of the whole specimen as a fact; the same object for the same state."""
    return Fact("state", condition, {"condition": condition})


def closed_stages(gates: Iterable[Conclusion]) -> frozenset[str]:
    """Return the stages that conclusions of the gates close."""
    return frozenset(c.get("stage") for c in gates if c.kind == "close")


@cache
def closed_facts(stages: frozenset[str]) -> tuple[Fact, ...]:
    """Return closed stages as facts that later families match; the same objects for the same."""
    return tuple(Fact("closed", stage, {"stage": stage}) for stage in sorted(stages))
