"""The rules over many hypothetical cases at once: what rests on the same facts is taken over.

Most rules look at the case as a whole, or at one finding of it; such a rule is drawn for each
finding by itself, and what it concludes is kept under all that rules can tell of the facts. A rule
over several findings at once is joined over the whole case. Tests hold it equal to the engine and
to the plain meaning over random rule sets.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from typing import Any, Generic, NamedTuple, TypeVar

from triage.engine.consult import UNREAD, Consultant
from triage.engine.facts import Conclusion, Fact, order_of
from triage.engine.indexed import RuleIndex
from triage.engine.normal import NormalRule
from triage.engine.reading import (
    Reading,
    Scale,
    group_evidence,
    standings_among,
    values_of,
    weigh,
    weight_of,
)
from triage.knowledge.rules import Family

Value = TypeVar("Value")
Key = tuple[object, ...]
# Kept parts beyond this number are dropped; a session at one bench stays far below it.
KEPT = 20_000
# What a rule may say of one finding.
ABOUT = {"finding": "id", "reading": "finding"}


class Extent(StrEnum):
    """How much of a case a rule looks at."""

    CASE = "case"
    FINDING = "finding"
    SEVERAL = "several"


def extent_of(rule: NormalRule) -> Extent:
    """Return how much of a case a rule must see: nothing of a finding, one finding, or several."""
    about = [p for p in rule.patterns if p.kind in ABOUT]
    if not about:
        return Extent.CASE
    if len(about) == 1 and not about[0].absent:
        return Extent.FINDING
    named = {dict(p.variables).get(ABOUT[p.kind]) for p in about}
    return Extent.FINDING if len(named) == 1 and None not in named else Extent.SEVERAL


@cache
def state_fact(condition: str) -> Fact:
    """Return a state of the whole specimen as a fact; the same object for the same state."""
    return Fact("state", condition, {"condition": condition})


def keep(store: dict[Any, Value], key: object, made: Value) -> Value:
    """Keep a part that was made and return it; a full store starts anew."""
    if len(store) >= KEPT:
        store.clear()
    store[key] = made
    return made


class Drawing(Generic[Value]):
    """Some rules and what was made of their conclusions, kept by what they can tell of facts."""

    def __init__(
        self, rules: Iterable[NormalRule], make: Callable[[list[Conclusion]], Value]
    ) -> None:
        self.rules = tuple(rules)
        self.make = make
        self.index = RuleIndex(self.rules)
        bound: dict[str, set[str]] = {}
        for rule in self.rules:
            for pattern in rule.patterns:
                bound.setdefault(pattern.kind, set()).update(n for n, _ in pattern.variables)
        self.bound = {kind: tuple(sorted(names)) for kind, names in bound.items()}
        self._kept: dict[Key, Value] = {}
        self._told: dict[Key, int] = {}
        self._numbers = 0
        self._same: dict[object, tuple[int, Sequence[Fact]]] = {}

    def told(self, facts: Sequence[Fact]) -> int:
        """Return a number for all that the rules can tell of some facts."""
        same = id(facts)
        known = self._same.get(same)
        if known is None:
            # The facts are kept beside it, so that no other can take their identity.
            known = keep(self._same, same, (self._number(facts), facts))
        return known[0]

    def _number(self, facts: Iterable[Fact]) -> int:
        conditions, bound = self.index.conditions, self.bound
        told: list[object] = []
        for fact in facts:
            known = conditions.get(fact.kind)
            if known is not None and (bits := known.met(fact)):
                told.append(fact.kind)
                told.append(bits)
                told += [fact.fields[name] for name in bound[fact.kind]]
        key = tuple(told)
        found = self._told.get(key)
        if found is None:
            self._numbers += 1
            found = keep(self._told, key, self._numbers)
        return found

    def of(self, *groups: Sequence[Fact]) -> Value:
        """Return what the conclusions over these facts come to.

        Facts that no rule can tell apart give the same value; it names no matched facts. A group
        that comes again should be the same object.
        """
        key = tuple([self.told(group) for group in groups])
        found = self._kept.get(key)
        if found is None:
            drawn = self.index.drawn_unsorted([fact for group in groups for fact in group])
            found = keep(self._kept, key, self.make(drawn))
        return found


@dataclass(frozen=True, eq=False, slots=True)
class Summary:
    """What recognition says about one finding.

    ``seen`` holds (deposit, standing, reach) as far as later rules can read them, sorted, and
    ``readings`` the same as facts; ``own`` and ``whole`` are ranks of fragility for the finding
    and for the specimen.
    """

    certainties: Mapping[str, float]
    seen: tuple[tuple[str, str, str], ...]
    readings: tuple[Fact, ...]
    settled: str | None
    own: int
    whole: int
    conditions: frozenset[str]

    @property
    def ranked(self) -> tuple[tuple[str, float], ...]:
        """Return (deposit, certainty), the most certain first."""
        return tuple(sorted(self.certainties.items(), key=lambda pair: (-pair[1], pair[0])))


@dataclass(frozen=True, eq=False, slots=True)
class Said:
    """What recognition concludes from some facts, before evidence is combined.

    ``weights`` are those of the evidence on (finding, deposit); ``grades`` the worst fragility by
    finding, ``""`` for the specimen.
    """

    weights: Mapping[tuple[str, str], tuple[float, ...]]
    grades: Mapping[str, int]
    conditions: frozenset[str]


class _Says(NamedTuple):
    """What a rule concludes about the one finding that it looks at."""

    weights: Mapping[str, tuple[float, ...]]
    own: int
    whole: int
    conditions: frozenset[str]


class Recognition:
    """Reads the findings of many hypothetical cases, one at a time."""

    def __init__(self, consultant: Consultant) -> None:
        self.consultant = consultant
        rules = consultant.normal.by_family[Family.RECOGNISE]
        by_extent: dict[Extent, list[NormalRule]] = {extent: [] for extent in Extent}
        for rule in rules:
            # What is not written out in a rule, but taken over from a fact, is drawn in full.
            fixed = all(name == "finding" for t in rule.templates for name, _ in t.variables)
            by_extent[extent_of(rule) if fixed else Extent.SEVERAL].append(rule)
        self._of_case = Drawing(by_extent[Extent.CASE], self._said)
        self._of_several = Drawing(by_extent[Extent.SEVERAL], self._said)
        self._of_finding = RuleIndex(by_extent[Extent.FINDING])
        self._says = {rule.id: self._laid_out(rule) for rule in by_extent[Extent.FINDING]}
        # For each deposit the rules about one finding that weigh it.
        self._weighing: dict[str, list[tuple[str, tuple[float, ...]]]] = {}
        for name, says in self._says.items():
            for deposit, weights in says.weights.items():
                self._weighing.setdefault(deposit, []).append((name, weights))
        # The fields on which the reading of a finding rests.
        of_guards = consultant.reach.fields.values()
        self._values = tuple(
            values_of(
                {
                    *self._of_finding.read_fields(kind),
                    *[name for each in of_guards for name in each[place]],
                }
            )
            for place, kind in enumerate(("finding", "specimen"))
        )
        # As each finding was read last: named, several, the rules that fired, and each deposit.
        self._last: dict[str, tuple[str, Said | None, frozenset[str], dict[str, Scale]]] = {}
        self._kept: dict[Key, Summary] = {}
        self._same: dict[Key, tuple[Summary, Fact, Fact, Fact, Said | None]] = {}
        self._readings: dict[Key, Fact] = {}

    def _laid_out(self, rule: NormalRule) -> _Says:
        weights: dict[str, tuple[float, ...]] = {}
        own, whole, conditions = 0, 0, set()
        for template in rule.templates:
            constants = dict(template.constants)
            if template.kind == "evidence":
                held = weights.get(constants["deposit"], ())
                weights[constants["deposit"]] = (*held, constants["weight"])
            elif template.kind == "state":
                conditions.add(constants["condition"])
            elif template.variables:
                own = max(own, self.consultant.grades[constants["fragility"]])
            else:
                whole = max(whole, self.consultant.grades[constants["fragility"]])
        return _Says(weights, own, whole, frozenset(conditions))

    def _said(self, conclusions: list[Conclusion]) -> Said:
        unique = {order_of(c): c for c in conclusions}.values()
        evidence = group_evidence(c for c in unique if c.kind == "evidence")
        grades: dict[str, int] = {}
        for c in unique:
            if c.kind == "grade":
                whose, grade = c.get("finding", ""), self.consultant.grades[c.get("fragility")]
                grades[whose] = max(grades.get(whose, 0), grade)
        return Said(
            {pair: tuple([weight_of(p) for p in pieces]) for pair, pieces in evidence.items()},
            grades,
            frozenset(c.get("condition") for c in unique if c.kind == "state"),
        )

    def case(self, specimen: Fact, bench: Fact) -> Said:
        """Return what follows from the specimen and the bench alone."""
        return self._of_case.of((specimen, bench))

    def several(self, facts: tuple[Fact, ...]) -> Said | None:
        """Return what follows from several findings at once, None if no rule looks at them so."""
        return self._of_several.of(facts) if self._of_several.rules else None

    def finding(
        self, finding: Fact, specimen: Fact, bench: Fact, several: Said | None = None
    ) -> Summary:
        """Return what recognition says about one finding; equal findings give the same object."""
        same = (id(finding), id(specimen), id(bench), id(several))
        known = self._same.get(same)
        if known is None:
            # The facts are kept beside it, so that no other can take their identity.
            made = self._equal(finding, specimen, bench, several)
            known = keep(self._same, same, (made, finding, specimen, bench, several))
        return known[0]

    def _equal(self, finding: Fact, specimen: Fact, bench: Fact, several: Said | None) -> Summary:
        of_finding, of_specimen = self._values
        mine = finding.fields
        key = (
            finding.key,
            mine["named"],
            mine["zone"],
            several,
            *bench.fields.values(),
            of_finding(mine),
            of_specimen(specimen.fields),
        )
        found = self._kept.get(key)
        if found is None:
            found = keep(self._kept, key, self._read(finding, specimen, bench, several))
        return found

    def _read(self, finding: Fact, specimen: Fact, bench: Fact, several: Said | None) -> Summary:
        # A rule that looks at one finding is met in one way at most: there is one of each fact.
        fired = frozenset(self._of_finding.fired((finding, specimen, bench)))
        says = [self._says[name] for name in fired]
        own = max([0, *[each.own for each in says]])
        if several is not None:
            own = max(own, several.grades.get(finding.key, 0))
        scales = self._weighed(finding, specimen, several, fired)
        consultant = self.consultant
        standings = standings_among(consultant.knowledge, consultant.reach, finding, scales)
        readings = [
            fact
            for (_, deposit, reach), standing in zip(scales, standings, strict=True)
            if (standing not in UNREAD or deposit in consultant.guards)
            and (fact := self._reading(finding, deposit, standing, reach)) is not None
        ]
        readings.sort(key=lambda fact: fact.fields["deposit"])
        fields = [fact.fields for fact in readings]
        return Summary(
            certainties={deposit: -minus + 0.0 for minus, deposit, _ in scales},
            seen=tuple([(f["deposit"], f["standing"], f["reach"]) for f in fields]),
            readings=tuple(readings),
            settled=scales[0][1] if "settled" in standings else None,
            own=own,
            whole=max([0, *[each.whole for each in says]]),
            conditions=frozenset().union(*[each.conditions for each in says]),
        )

    def _weighed(
        self, finding: Fact, specimen: Fact, several: Said | None, fired: frozenset[str]
    ) -> list[Scale]:
        """Return what the evidence comes to, the most certain first.

        Only what rules say otherwise than when this finding was read last is weighed again; how
        far a guard reaches rests on what is open, too.
        """
        consultant, named = self.consultant, finding.fields["named"]
        knowledge, last = consultant.knowledge, self._last.get(finding.key)
        kept = last if last is not None and last[:2] == (named, several) else None
        always = {*consultant.guards, *({named} & knowledge.deposits.keys())}
        changed = fired ^ kept[2] if kept else fired
        again = {deposit for name in changed for deposit in self._says[name].weights}
        again |= consultant.guards if kept else always
        if several is not None and kept is None:
            again |= {deposit for whose, deposit in several.weights if whose == finding.key}
        scales = {d: scale for d, scale in kept[3].items() if d not in again} if kept else {}
        for deposit in again:
            held = [w for name, ws in self._weighing.get(deposit, ()) if name in fired for w in ws]
            if several is not None:
                held += several.weights.get((finding.key, deposit), ())
            if held or deposit in always:
                scales[deposit] = weigh(
                    knowledge, consultant.reach, deposit, finding, specimen, held
                )
        self._last[finding.key] = (named, several, fired, scales)
        return sorted(scales.values())

    def _reading(self, finding: Fact, deposit: str, standing: str, reach: float) -> Fact | None:
        """Return what rules may read of a reading; the same object for equal ones."""
        reaches = self.consultant.reaches(deposit, reach)
        if standing in UNREAD and not reaches:
            return None
        zone = finding.fields["zone"]
        key = (finding.key, zone, deposit, standing, reaches)
        found = self._readings.get(key)
        if found is None:
            # How certain it is stands in no fact.
            made = Reading(finding.key, zone, deposit, 0.0, reach, standing, ())
            found = self.consultant.reading_fact(made)
            if found is not None:
                keep(self._readings, key, found)
        return found
