"""Combinations that are the same plan apart from names, told apart exactly and counted.

Every combination is projected onto what its plan can depend on: the rules that fire for it (worked
out for each one from the masks of its facts), the reading of its finding, what its body part can
stand, its fragility and its softness. One member of each class is then planned in full; tests hold
random other members, planned one by one, against it.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import product
from typing import Any, NamedTuple

import numpy as np
import numpy.typing as npt

from tests.proof.axes import FINDING, HYDRATION, Axes, Combination
from tests.proof.masks import Masks
from triage.case.profile import Bench
from triage.engine.casefacts import BENCH, SPECIMEN, facts_from
from triage.engine.consult import LEFT_ALONE, Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.vocabulary import NONE
from triage.knowledge.rules import FAMILIES, Family

LATER = tuple(family for family in FAMILIES if family is not Family.RECOGNISE)
Key = tuple[object, ...]
Numbers = npt.NDArray[np.int32]


class Member(NamedTuple):
    """One combination of a class at one control of the air."""

    combination: Combination
    control: str


@dataclass(frozen=True)
class Plane:
    """All combinations of one deposit, each with the number of its class.

    ``numbers`` has the axes zone, taxon, floor, hydration, control; ``first`` holds one member of
    each class, ``fragility`` the grade of each, and ``cautions`` members whose cautions differ.
    """

    deposit: str
    numbers: Numbers
    first: tuple[Member, ...]
    fragility: npt.NDArray[np.int8]
    cautions: tuple[tuple[int, int, Member], ...]


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What recognition comes to, without the fragility of the group and the name of the zone."""

    number: int
    settled: str
    readings: tuple[Fact, ...]
    states: tuple[str, ...]
    whole: int
    own: int


class Projector:
    """Finds the classes of one deposit after the other."""

    def __init__(self, consultant: Consultant, axes: Axes) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.axes = axes
        by_family = consultant.normal.by_family
        self.early = Masks(by_family[Family.RECOGNISE])
        self.late = Masks(rule for family in LATER for rule in by_family[family])
        self.family = {family: self.late.of(by_family[family]) for family in LATER}
        # With such a rule each combination is a class of its own: slow, but exact.
        self.entangled = bool(self.early.entangled() or self.late.entangled())
        self.naming = {method: self.late.naming(method) for method in self.knowledge.methods}
        self.controls = tuple(dict.fromkeys(b.room.control for b in axes.benches.values()))
        self.who = tuple(product(axes.taxa, axes.floors, axes.hydrations))
        self.specimens = [self.raw(axes.deposits[0], axes.zones[0], w)[0] for w in self.who]
        self.groups = [consultant.floor_of_group(taxon) for taxon, _, _ in self.who]
        self.benches = [Fact(BENCH, BENCH, {"control": c}) for c in self.controls]
        self.early_who = [self.early.mask(SPECIMEN, [s]) for s in self.specimens]
        self.early_bench = [self.early.mask(BENCH, [b]) for b in self.benches]
        self.late_bench = [self.late.mask(BENCH, [b]) for b in self.benches]
        self.of_who: dict[tuple[int, int, bool], int] = {}
        self._closed: dict[int, int] = {}
        self._numbers: dict[Key, int] = {}
        self._reaches: dict[tuple[str, ...], tuple[object, ...]] = {}
        self._asked = self._asked_fields()

    def raw(self, deposit: str, zone: str, who: tuple[str, str, str]) -> tuple[Fact, Fact]:
        """Return the observed facts of a specimen and its finding."""
        case = self.axes.case(Combination(deposit, zone, *who))
        facts = facts_from(case, Bench(), self.consultant.vocabulary)
        return facts[0], facts[2]

    def is_left(self, settled: str) -> bool:
        """Return whether a finding of this deposit is left alone for good."""
        deposit = self.knowledge.deposits.get(settled)
        return deposit is not None and deposit.guard in LEFT_ALONE

    def number(self, key: Key) -> int:
        """Return a small number for a key, the same for equal keys."""
        return self._numbers.setdefault(key, len(self._numbers))

    # -- recognition --------------------------------------------------------------------------

    def _asked_fields(self) -> tuple[tuple[str, str], ...]:
        """Return (kind, field) on which the reach of any guard deposit may depend."""
        return tuple(
            sorted(
                {
                    (kind, name)
                    for rules in self.consultant.reach.possible.values()
                    for asked in rules
                    for kind, name, _ in asked
                }
            )
        )

    def reach_of(self, finding: Fact, specimen: Fact) -> tuple[object, ...]:
        """Return what open questions could still add to each guard deposit."""
        facts = {"finding": finding.fields, "specimen": specimen.fields}
        values = (
            str(finding.get("named") != NONE),
            *[facts[kind][name] for kind, name in self._asked],
        )
        if values not in self._reaches:
            reach = self.consultant.reach
            self._reaches[values] = tuple(
                reach.open_weights(deposit, finding, specimen) for deposit in sorted(reach.possible)
            )
        return self._reaches[values]

    def outcome(self, facts: tuple[Fact, ...]) -> _Outcome:
        """Return what recognition concludes, by the consultation itself."""

        def run(family: Family, known: tuple[Fact, ...]) -> tuple[Conclusion, ...]:
            return self.consultant.run_plain(family, known) if family is Family.RECOGNISE else ()

        found = self.consultant.consult_facts(facts, (), run)
        settled = found.settled(FINDING)
        grades = self.consultant.grades
        ranks = {"": [0], FINDING: [0]}
        for conclusion in found.of(Family.RECOGNISE, "grade"):
            ranks[conclusion.get("finding", "")].append(grades[conclusion.get("fragility")])
        readings = tuple(f for f in found.facts if f.kind == "reading")
        parts = (
            settled.deposit if settled else NONE,
            tuple((f.key, f.get("standing"), f.get("reach")) for f in readings),
            _states(found),
            max(ranks[""]),
            max(ranks[FINDING]),
        )
        return _Outcome(self.number(parts), parts[0], readings, *parts[2:])

    # -- one deposit --------------------------------------------------------------------------

    def plane(self, deposit: str) -> Plane:
        """Return the classes of one deposit."""
        return _PlaneMaker(self, deposit).made()

    def closed_mask(self, gates: int) -> int:
        """Return the rules that the stages let through which some gates close."""
        if gates not in self._closed:
            stages = {
                str(dict(template.constants)["stage"])
                for rule in self.late.fired(gates)
                for template in rule.templates
                if template.kind == "close"
            }
            facts = [Fact("closed", stage, {"stage": stage}) for stage in sorted(stages)]
            self._closed[gates] = self.late.mask("closed", facts)
        return self._closed[gates]


class _PlaneMaker:
    """Finds the classes of one deposit: first what fires for each combination, then the keys."""

    def __init__(self, projector: Projector, deposit: str) -> None:
        self.p = projector
        self.deposit = deposit
        self.zones = projector.axes.zones
        self.findings = [projector.raw(deposit, z, projector.who[0])[1] for z in self.zones]
        self._outcomes: dict[tuple[int, object], _Outcome] = {}
        self._masks: dict[tuple[int, int, int], int] = {}
        self._forbidden: dict[int, tuple[frozenset[str], frozenset[str]]] = {}
        self._standing = [self._stands(zone) for zone in self.zones]

    def _stands(self, zone: str) -> Key:
        """Return what a body part can stand, and how its rank lies to work on the whole."""
        known = self.p.knowledge.zones.get(zone)
        if known is None:
            return (None, None, 0)
        return known.most_mechanical, known.most_chemical, (known.rank > 0) - (known.rank < 0)

    def made(self) -> Plane:
        fired = list(self._fired())
        offers = 0
        for *_, mask in fired:
            offers |= mask & self.p.family[Family.OFFER]
        self.methods = frozenset(
            method
            for rule in self.p.late.fired(offers)
            for template in rule.templates
            for method in dict(template.constants)["method"]
        )
        self._about = 0
        for method in self.methods:
            self._about |= self.p.naming[method]
        return self._plane(fired)

    def _plane(self, fired: list[tuple[int, int, int, _Outcome, int]]) -> Plane:
        p, axes = self.p, self.p.axes
        known: dict[Key, int] = {}
        first: list[Member] = []
        cautions: dict[tuple[int, int], Member] = {}
        numbers = np.empty(len(fired), dtype=np.int32)
        fragility = np.empty(len(fired), dtype=np.int8)
        caution = p.family[Family.CAUTION] & self._about
        for place, (zone, who, control, outcome, mask) in enumerate(fired):
            grade = max(p.groups[who], outcome.whole, outcome.own)
            key = self._key(zone, who, control, outcome, mask, grade)
            number = known.get(key)
            if number is None:
                number = known[key] = len(first)
                first.append(self._member(zone, who, control))
            numbers[place], fragility[place] = number, grade
            said = (number, mask & caution)
            if said not in cautions:
                cautions[said] = self._member(zone, who, control)
        shape = (
            len(axes.zones),
            len(axes.taxa),
            len(axes.floors),
            len(axes.hydrations),
            len(p.controls),
        )
        return Plane(
            self.deposit,
            numbers.reshape(shape),
            tuple(first),
            fragility.reshape(shape),
            tuple((number, said, member) for (number, said), member in cautions.items()),
        )

    def _member(self, zone: int, who: int, control: int) -> Member:
        combination = Combination(self.deposit, self.zones[zone], *self.p.who[who])
        return Member(combination, self.p.controls[control])

    def _key(
        self, zone: int, who: int, control: int, outcome: _Outcome, mask: int, grade: int
    ) -> Key:
        """Return all that the plan of a combination can depend on, names left out."""
        family = self.p.family
        return (
            outcome.number,
            mask & (family[Family.OFFER] | family[Family.ORDER] | family[Family.GATE]),
            self._forbids(mask & family[Family.FORBID] & self._about),
            grade,
            self.p.who[who][2] == self.p.axes.base[HYDRATION],
            self._standing[zone],
            control,
            (zone, who) if self.p.entangled else None,
        )

    def _forbids(self, mask: int) -> tuple[frozenset[str], frozenset[str]]:
        """Return which methods that anything offers are forbidden: on the finding, everywhere."""
        found = self._forbidden.get(mask)
        if found is None:
            mine: set[str] = set()
            whole: set[str] = set()
            for rule in self.p.late.fired(mask):
                for template in rule.templates:
                    methods = self.methods.intersection(dict(template.constants)["method"])
                    mine |= methods
                    if all(name != "finding" for name, _ in template.variables):
                        whole |= methods
            found = self._forbidden[mask] = frozenset(mine), frozenset(whole)
        return found

    # -- what fires ---------------------------------------------------------------------------

    def _fired(self) -> Iterator[tuple[int, int, int, _Outcome, int]]:
        """Yield zone, specimen and control (as places), the outcome, and the later rules."""
        p = self.p
        gate = p.family[Family.GATE]
        for zone, finding in enumerate(self.findings):
            early_finding = p.early.mask("finding", [finding])
            for who, specimen in enumerate(p.specimens):
                reach = p.reach_of(finding, specimen)
                early = early_finding & p.early_who[who]
                for control in range(len(p.controls)):
                    key = (early & p.early_bench[control], reach)
                    outcome = self._outcomes.get(key)
                    if outcome is None:
                        facts = (specimen, p.benches[control], finding)
                        outcome = self._outcomes[key] = p.outcome(facts)
                    mask = self._late(zone, who, outcome) & p.late_bench[control]
                    mask &= p.closed_mask(mask & gate)
                    yield zone, who, control, outcome, mask

    def _late(self, zone: int, who: int, outcome: _Outcome) -> int:
        """Return the later rules that specimen, finding, readings and states let through."""
        grade = max(self.p.groups[who], outcome.whole)
        late = self.p.late
        # What is settled tells the specimen only whether there is anything left to clean.
        about_who = (who, outcome.whole, self.p.is_left(outcome.settled))
        of_who = self.p.of_who.get(about_who)
        if of_who is None:
            facts = _of_kind(self._derived(zone, who, outcome), SPECIMEN)
            of_who = self.p.of_who[about_who] = late.mask(SPECIMEN, facts)
        about_zone = (zone, grade, outcome.number)
        of_zone = self._masks.get(about_zone)
        if of_zone is None:
            facts = self._derived(zone, who, outcome)
            of_zone = late.every
            for kind in ("finding", "reading", "state"):
                of_zone &= late.mask(kind, _of_kind(facts, kind))
            self._masks[about_zone] = of_zone
        return of_who & of_zone

    def _derived(self, zone: int, who: int, outcome: _Outcome) -> list[Fact]:
        consultant = self.p.consultant
        settled = {} if outcome.settled == NONE else {FINDING: outcome.settled}
        place = self.zones[zone]
        readings = [
            Fact(fact.kind, fact.key, {**fact.fields, "zone": place}) for fact in outcome.readings
        ]
        floors = {"": max(self.p.groups[who], outcome.whole), FINDING: outcome.own}
        facts = (self.p.specimens[who], self.p.benches[0], self.findings[zone])
        return list(
            consultant.derive(facts, floors, settled, readings, outcome.states, frozenset())
        )


def _of_kind(facts: Iterable[Fact], kind: str) -> list[Fact]:
    return [fact for fact in facts if fact.kind == kind]


def _states(found: Conclusions) -> tuple[str, ...]:
    said = found.of(Family.RECOGNISE, "state")
    return tuple(sorted({str(c.get("condition")) for c in said}))


def tally_of(numbers: Numbers, size: int) -> Mapping[int, int]:
    """Return class -> how many combinations it has."""
    counted: Any = np.bincount(numbers.ravel(), minlength=size)
    return {number: int(count) for number, count in enumerate(counted)}
