"""What all rules conclude about every combination, by the evaluator for many cases.

Every combination goes through every family. Names of findings and body parts are left out of what
is said, so that combinations about which the rules say the same can be told by a few numbers.
"""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any, NamedTuple

from tests.proof.axes import Axes, Combination
from triage.case.profile import Bench
from triage.engine.casefacts import BENCH, facts_from
from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.indexed import Drawing
from triage.engine.recognition import Recognition
from triage.engine.vocabulary import NONE
from triage.knowledge.rules import FAMILIES, Family

LATER = FAMILIES[1:]
# Only names where a case holds one finding.
NAMES = frozenset({"finding", "zone"})


class Said(NamedTuple):
    """What the rules of one family say; equal sayings have the same number.

    ``methods`` are those it is said of, ``whole`` those of them not of one finding alone,
    ``by`` the conclusions behind it, for an interlock none: who forbids is all the same.
    """

    number: int
    methods: frozenset[str]
    whole: frozenset[str]
    by: frozenset[Conclusion]

    def rules(self, method: str) -> frozenset[str]:
        """Return the rules that speak of a method."""
        return frozenset(c.rule for c in self.by if method in c.get("method", ()))

    def closed(self) -> list[Fact]:
        """Return the stages that it shuts, as facts."""
        stages = sorted({c.get("stage") for c in self.by if c.kind == "close"})
        return [Fact("closed", stage, {"stage": stage}) for stage in stages]


class Sayings:
    """The different sayings of one family so far."""

    def __init__(self, family: Family) -> None:
        self.names_rules = family is not Family.FORBID
        self._known: dict[tuple[object, ...], Said] = {}
        self._joined: dict[tuple[int, int], Said] = {}

    def of(self, conclusions: Iterable[Conclusion]) -> Said:
        """Return what some conclusions come to."""
        methods: set[str] = set()
        whole: set[str] = set()
        by = []
        for conclusion in conclusions:
            fields = dict(conclusion.fields)
            held = fields.get("method", ())
            methods.update(held)
            if "finding" not in fields:
                whole.update(held)
            if "first" in fields:
                methods.add(str(fields["first"]))
            if self.names_rules:
                by.append(replace(conclusion, fields=_unnamed(conclusion), facts=(), text=""))
        return self._kept(frozenset(methods), frozenset(whole), frozenset(by))

    def joined(self, one: Said, other: Said) -> Said:
        """Return what two sayings come to together."""
        key = (one.number, other.number)
        if key not in self._joined:
            parts = [mine | more for mine, more in zip(one[1:], other[1:], strict=True)]
            self._joined[key] = self._kept(*parts)
        return self._joined[key]

    def _kept(self, *parts: Any) -> Said:
        found = self._known.get(parts)
        if found is None:
            found = self._known[parts] = Said(len(self._known), *parts)
        return found


def _unnamed(conclusion: Conclusion) -> tuple[tuple[str, object], ...]:
    return tuple(field for field in conclusion.fields if field[0] not in NAMES)


class Drawn(NamedTuple):
    """What the rules come to for one combination at one control of the air.

    ``seen`` holds (deposit, standing, reach) of the readings, ``grade`` the fragility of the
    finding as a rank, ``said`` what each later family says.
    """

    settled: str | None
    seen: tuple[tuple[str, str, str], ...]
    states: frozenset[str]
    grade: int
    said: Mapping[Family, Said]


class Drawer:
    """Draws combinations one after the other."""

    def __init__(self, consultant: Consultant, axes: Axes) -> None:
        self.consultant = consultant
        self.axes = axes
        self.grades = tuple(consultant.knowledge.fragility)
        self.benches = {
            bench.room.control: Fact(BENCH, BENCH, {"control": bench.room.control})
            for bench in axes.benches.values()
        }
        self.reader = Recognition(consultant)
        self.sayings = {family: Sayings(family) for family in LATER}
        # Rules that read the bench are drawn for each control, all others once.
        by_family = consultant.normal.by_family
        reading = {
            family: [r for r in rules if any(p.kind == BENCH for p in r.patterns)]
            for family, rules in by_family.items()
        }
        self.is_separable = not (reading[Family.RECOGNISE] or reading[Family.GATE])
        self.apart = {
            family: Drawing(
                (r for r in by_family[family] if r not in reading[family]), self.sayings[family].of
            )
            for family in LATER
        }
        self.reading = {
            family: Drawing(reading[family], self.sayings[family].of)
            for family in LATER
            if reading[family]
        }
        # Where they read nothing else, what they say is known for each control.
        self._of_bench = {
            (family, control): drawing.of((bench,))
            for family, drawing in self.reading.items()
            for control, bench in self.benches.items()
            if {p.kind for rule in drawing.rules for p in rule.patterns} == {BENCH}
        }
        self._left = {d.id for d in consultant.knowledge.deposits.values() if d.is_left}
        self._specimens: dict[tuple[str, str, str], Fact] = {}
        self._findings: dict[tuple[str, str], Fact] = {}
        self._derived: dict[tuple[object, ...], Fact] = {}
        self._last: tuple[Combination, Mapping[str, Drawn]] | None = None

    def observed(self, combination: Combination) -> tuple[Fact, Fact]:
        """Return the observed facts of the specimen and of its finding."""
        who = (combination.taxon, combination.floor, combination.hydration)
        what = (combination.deposit, combination.zone)
        if who not in self._specimens or what not in self._findings:
            case = self.axes.case(combination)
            facts = facts_from(case, Bench(), self.consultant.vocabulary)
            self._specimens.setdefault(who, facts[0])
            self._findings.setdefault(what, facts[2])
        return self._specimens[who], self._findings[what]

    def of(self, combination: Combination) -> Mapping[str, Drawn]:
        """Return control -> what the rules come to."""
        # The same combination comes for one control after the other.
        if self._last is not None and self._last[0] == combination:
            return self._last[1]
        found: dict[str, Drawn] = {}
        facts: tuple[Fact, ...] = ()
        drawn: Drawn | None = None
        for control, bench in self.benches.items():
            if drawn is None or not self.is_separable:
                facts, drawn = self._draw(combination, bench)
            said = dict(drawn.said)
            for family, drawing in self.reading.items():
                more = self._of_bench.get((family, control)) or drawing.of((bench, *facts))
                said[family] = self.sayings[family].joined(said[family], more)
            found[control] = drawn._replace(said=said)
        self._last = combination, found
        return found

    def _draw(self, combination: Combination, bench: Fact) -> tuple[tuple[Fact, ...], Drawn]:
        """Return the facts but for the bench, and what rules that do not read it come to."""
        specimen, finding = self.observed(combination)
        reader = self.reader
        several = reader.several((specimen, bench, finding))
        read = reader.finding(finding, specimen, bench, several)
        whole = [reader.case(specimen, bench), *([several] if several else [])]
        floor = max(
            self.consultant.floor_of_group(combination.taxon),
            read.whole,
            *[said.grades.get("", 0) for said in whole],
        )
        states = read.conditions.union(*[said.conditions for said in whole])
        grade = max(floor, read.own)
        cleaning = "done" if read.settled in self._left else "open"
        facts: tuple[Fact, ...] = (
            self._with(specimen, fragility=self.grades[floor], findings="some", cleaning=cleaning),
            self._with(finding, fragility=self.grades[grade], settled=read.settled or NONE),
            *read.readings,
            *[Fact("state", name, {"condition": name}) for name in sorted(states)],
        )
        said = {Family.GATE: self.apart[Family.GATE].of((bench, *facts))}
        facts = (*facts, *said[Family.GATE].closed())
        for family in LATER[1:]:
            said[family] = self.apart[family].of(facts)
        return facts, Drawn(read.settled, read.seen, states, grade, said)

    def _with(self, fact: Fact, **more: str) -> Fact:
        """Return a fact with what recognition adds; the same object for the same things."""
        key = (id(fact), *more.values())
        if key not in self._derived:
            self._derived[key] = Fact(fact.kind, fact.key, {**fact.fields, **more})
        return self._derived[key]
