"""How the findings of many hypothetical cases are read, one after the other.

A finding is read anew only in what the rules, and the reach of the guards, can tell of a change.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from triage.engine.consult import UNREAD, Consultant
from triage.engine.facts import Conclusion, Fact, order_of
from triage.engine.indexed import Drawing, Extent, Key, RuleIndex, extent_of, keep
from triage.engine.normal import NormalRule
from triage.engine.plain import by_kind, matches
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

# A kind of fact and one of its fields.
Asked = tuple[str, str]


@dataclass(frozen=True, eq=False, slots=True)
class Summary:
    """What recognition says about one finding.

    ``seen`` holds (deposit, standing, reach) as far as later rules can read them, sorted, and
    ``readings`` the same as facts; ``own`` and ``whole`` are ranks of fragility for the finding
    and for the specimen.
    """

    scales: Sequence[Scale]
    seen: tuple[tuple[str, str, str], ...]
    readings: tuple[Fact, ...]
    settled: str | None
    own: int
    whole: int
    conditions: frozenset[str]

    @property
    def certainties(self) -> Mapping[str, float]:
        """Return deposit -> certainty."""
        return {deposit: -minus + 0.0 for minus, deposit, _ in self.scales}


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


class _Read(NamedTuple):
    """How a finding was read last: from what, by which rules, with which weights."""

    facts: tuple[Fact, Fact, Fact]
    several: Said | None
    fired: frozenset[str]
    scales: dict[str, Scale]


class Recognition:
    """Reads the findings of many hypothetical cases, one at a time."""

    def __init__(self, consultant: Consultant) -> None:
        self.consultant = consultant
        by_extent: dict[Extent, list[NormalRule]] = {extent: [] for extent in Extent}
        for rule in consultant.normal.by_family[Family.RECOGNISE]:
            # What is not written out in a rule, but taken over from a fact, is drawn in full.
            fixed = all(name == "finding" for t in rule.templates for name, _ in t.variables)
            by_extent[extent_of(rule) if fixed else Extent.SEVERAL].append(rule)
        self._of_case = Drawing(by_extent[Extent.CASE], self._said)
        self._of_several = Drawing(by_extent[Extent.SEVERAL], self._said)
        self._of_finding = RuleIndex(by_extent[Extent.FINDING])
        self._says = {rule.id: self._laid_out(rule) for rule in by_extent[Extent.FINDING]}
        # The rules about one finding that say more than how a deposit is weighed.
        self._besides = frozenset(
            name for name, says in self._says.items() if says.own or says.whole or says.conditions
        )
        # For each deposit the rules about one finding that weigh it.
        self._weighing: dict[str, frozenset[str]] = {}
        for name, says in self._says.items():
            for deposit in says.weights:
                self._weighing[deposit] = self._weighing.get(deposit, frozenset()) | {name}
        # For each field the rules, and the guards with their open questions, that rest on it.
        self._asking: dict[Asked, list[NormalRule]] = {}
        for rule in by_extent[Extent.FINDING]:
            for pattern in rule.patterns:
                for name, _ in (*pattern.allowed, *pattern.variables):
                    self._asking.setdefault((pattern.kind, name), []).append(rule)
        self._guarding: dict[Asked, set[str]] = {}
        for deposit, fields in consultant.reach.fields.items():
            for kind, names in zip(("finding", "specimen"), fields, strict=True):
                for name in names:
                    self._guarding.setdefault((kind, name), set()).add(deposit)
        rests = {*self._asking, *self._guarding}
        self._values = tuple(
            values_of(name for of, name in rests if of == kind) for kind in ("finding", "specimen")
        )
        self._last: dict[str, _Read] = {}
        self._kept: dict[Key, Summary] = {}
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
        of_finding, of_specimen = self._values
        mine = finding.fields
        held = (finding.key, mine["named"], mine["zone"], several)
        key = (*held, *bench.fields.values(), of_finding(mine), of_specimen(specimen.fields))
        found = self._kept.get(key)
        return found or keep(self._kept, key, self._read(finding, specimen, bench, several))

    def _read(self, finding: Fact, specimen: Fact, bench: Fact, several: Said | None) -> Summary:
        """Return how a finding is read; only what may have changed is worked out again."""
        consultant, facts = self.consultant, (finding, specimen, bench)
        knowledge, named = consultant.knowledge, finding.fields["named"]
        always = {*consultant.guards, *({named} & knowledge.deposits.keys())}
        last = self._last.get(finding.key)
        if last is None or last.several is not several or _is_other(last.facts[0], finding):
            # A rule that looks at one finding is met in one way at most: one of each fact is there.
            fired = frozenset(self._of_finding.fired(facts))
            again = {*always, *[d for name in fired for d in self._says[name].weights]}
            if several is not None:
                again |= {deposit for whose, deposit in several.weights if whose == finding.key}
            scales: dict[str, Scale] = {}
        else:
            changed = _changed(last.facts, facts)
            asked = {rule.id: rule for pair in changed for rule in self._asking.get(pair, ())}
            grouped = by_kind(facts)
            met = {name for name, rule in asked.items() if matches(rule, grouped)}
            fired = last.fired.difference(asked).union(met)
            again = {d for name in fired ^ last.fired for d in self._says[name].weights}
            for pair in changed:
                again |= self._guarding.get(pair, set())
            scales = dict(last.scales)
        nothing, reach = frozenset[str](), consultant.reach
        for deposit in again:
            speaking = fired & self._weighing.get(deposit, nothing)
            held = [weight for name in speaking for weight in self._says[name].weights[deposit]]
            if several is not None and several.weights:
                held += several.weights.get((finding.key, deposit), ())
            if held or deposit in always:
                scales[deposit] = weigh(knowledge, reach, deposit, finding, specimen, held)
            else:
                scales.pop(deposit, None)
        self._last[finding.key] = _Read(facts, several, fired, scales)
        return self._summary(finding, fired, sorted(scales.values()), several)

    def _summary(
        self, finding: Fact, fired: frozenset[str], scales: Sequence[Scale], several: Said | None
    ) -> Summary:
        consultant = self.consultant
        says = [self._says[name] for name in fired & self._besides]
        own = max([0, *[each.own for each in says]])
        if several is not None:
            own = max(own, several.grades.get(finding.key, 0))
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
            scales=scales,
            seen=tuple([(f["deposit"], f["standing"], f["reach"]) for f in fields]),
            readings=tuple(readings),
            settled=scales[0][1] if "settled" in standings else None,
            own=own,
            whole=max([0, *[each.whole for each in says]]),
            conditions=frozenset().union(*[each.conditions for each in says]),
        )

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


def _is_other(one: Fact, other: Fact) -> bool:
    """Return whether two findings lie elsewhere or are named otherwise."""
    return any(one.fields[name] != other.fields[name] for name in ("named", "zone"))


def _changed(before: Sequence[Fact], after: Sequence[Fact]) -> set[Asked]:
    """Return the fields in which facts differ, given in the same order."""
    return {
        (fact.kind, name)
        for old, fact in zip(before, after, strict=True)
        if old is not fact
        for name, value in fact.fields.items()
        if old.fields[name] != value
    }
