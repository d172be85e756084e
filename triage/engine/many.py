"""The rules over many hypothetical cases at once: what rests on the same facts is taken over.

A rule that looks at one finding is drawn for each finding by itself, and what it concludes is kept
under all that rules can tell of the facts; one over several findings is joined over the whole case.
Tests hold it equal to the engine and to the plain meaning over random rule sets.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import repeat
from typing import Any, Generic, NamedTuple, TypeVar

from triage.engine.consult import Consultant, closed_facts, closed_stages, state_fact
from triage.engine.facts import Conclusion, Fact
from triage.engine.indexed import Conditions, Drawing, Extent, Key, extent_of, keep
from triage.engine.normal import NormalRule
from triage.engine.reading import values_of
from triage.engine.recognition import Recognition, Said, Summary
from triage.engine.vocabulary import NONE
from triage.knowledge.rules import Family

Value = TypeVar("Value")
Drawings = Mapping[Extent, Drawing[Value]]


def with_values(
    facts: tuple[Fact, ...], changes: Mapping[tuple[str, str], str]
) -> tuple[Fact, ...]:
    """Return the facts with other values for some (fact key, field) pairs."""
    touched: dict[str, dict[str, str]] = {}
    for (key, name), value in changes.items():
        touched.setdefault(key, {})[name] = value
    made = list(facts)
    for place, fact in enumerate(facts):
        mine = touched.get(fact.key)
        # A fact that stays as it is stays the same object: it is known again by that.
        if mine and any(fact.fields[name] != value for name, value in mine.items()):
            made[place] = Fact(fact.kind, fact.key, {**fact.fields, **mine})
    return tuple(made)


class Gates(NamedTuple):
    """What the gates conclude: stages closed, rules that refuse, and all that shut."""

    stages: frozenset[str]
    refused: frozenset[str]
    rules: frozenset[str]

    @classmethod
    def of(cls, said: Iterable[Conclusion]) -> Gates:
        """Return what conclusions of the gates come to."""
        said = tuple(said)
        return cls(
            closed_stages(said),
            frozenset(c.rule for c in said if c.kind == "refuse"),
            frozenset(c.rule for c in said),
        )


@dataclass(frozen=True, eq=False, slots=True)
class Drawn(Generic[Value]):
    """All that the rules conclude about one hypothetical case.

    ``case`` and ``views`` are the case and each finding as later rules see them. ``pieces`` hold
    what the later rules come to for the case, then for each finding, then for several findings at
    once if a rule looks at them so.
    """

    facts: tuple[Fact, ...]
    several: Said | None
    read: Sequence[Summary]
    states: tuple[str, ...]
    case: tuple[Fact, ...]
    views: Sequence[tuple[Fact, ...]]
    gating: tuple[Gates, ...]
    gates: Gates
    pieces: tuple[Value, ...]


class Many(Generic[Value]):
    """Consults the rules about one hypothetical case after the other.

    ``lay_out`` makes a piece of conclusions of the forbid, offer and order rules.
    """

    def __init__(
        self, consultant: Consultant, lay_out: Callable[[list[Conclusion]], Value]
    ) -> None:
        self.consultant = consultant
        self.reader = Recognition(consultant)
        rules = consultant.normal.by_family
        later = [r for f in (Family.FORBID, Family.OFFER, Family.ORDER) for r in rules[f]]
        shared: dict[str, Conditions] = {}
        self._gates: Drawings[Gates] = _drawings(rules[Family.GATE], Gates.of, shared)
        self._later: Drawings[Value] = _drawings(later, lay_out, shared)
        drawings: list[Drawing[Any]] = [*self._gates.values(), *self._later.values()]
        indexes = [drawing.index for drawing in drawings]
        derived = consultant.vocabulary.derived
        # What later rules can tell of a finding, of the specimen, and of the bench.
        self._finding, self._specimen, self._bench = (
            values_of({n for i in indexes for n in i.read_fields(kind) if (kind, n) not in derived})
            for kind in ("finding", "specimen", "bench")
        )
        deposits = consultant.knowledge.deposits.values()
        self._left = frozenset(d.id for d in deposits if d.is_left)
        self._grades = tuple(consultant.knowledge.fragility)
        self._groups: dict[Key, tuple[Fact, ...]] = {}

    def drawn(
        self, facts: tuple[Fact, ...], done: frozenset[str], near: Drawn[Value] | None = None
    ) -> Drawn[Value]:
        """Return what the rules conclude from first facts: the specimen, the bench, the findings.

        Parameters
        ----------
        done findings that are cleared or accepted
        near a case drawn with the same ``done``, of which what is the same is taken over; it is
             given back if no later rule can tell the two apart
        """
        specimen, bench, *findings = facts
        reader, several = self.reader, self.reader.several(facts)
        if near is not None:
            known = (*near.facts[:2], near.several)
            near = near if _same(known, (specimen, bench, several)) else None
        # The findings that are those of the case nearby.
        kept = list(map(operator.is_, findings, near.facts[2:] if near else repeat(None)))
        read = [
            near.read[place]
            if near is not None and kept[place]
            else reader.finding(finding, specimen, bench, several)
            for place, finding in enumerate(findings)
        ]
        said: list[Said] = [reader.case(specimen, bench), *([several] if several else [])]
        floor = max(
            self.consultant.floor_of_group(specimen.fields["taxon"]),
            *[each.grades.get("", 0) for each in said],
            *[each.whole for each in read],
        )
        found = [*[each.conditions for each in said], *[each.conditions for each in read]]
        states = tuple(sorted(frozenset[str]().union(*found)))
        is_open = any(
            finding.key not in done and each.settled not in self._left
            for finding, each in zip(findings, read, strict=True)
        )
        cleaning = "none" if not findings else "open" if is_open else "done"
        case = self._case(specimen, bench, self._grades[floor], cleaning, states)
        if near is not None and case is not near.case:
            near = None
        views = [
            near.views[place]
            if near is not None and kept[place]
            else self._view(finding, each, self._grades[max(floor, each.own)])
            for place, (finding, each) in enumerate(zip(findings, read, strict=True))
        ]
        if near is not None and _same(views, near.views):
            return near
        groups, before = [case, *views], [near.case, *near.views] if near else []
        gating = _pieces(self._gates, groups, (), before, near.gating if near else ())
        gates = Gates(*[frozenset().union(*parts) for parts in zip(*gating, strict=True)])
        shut = closed_facts(gates.stages)
        if near is not None and gates.stages != near.gates.stages:
            before = []
        pieces = _pieces(self._later, groups, shut, before, near.pieces if near else ())
        return Drawn(facts, several, read, states, case, views, gating, gates, pieces)

    def _case(
        self, specimen: Fact, bench: Fact, fragility: str, cleaning: str, states: tuple[str, ...]
    ) -> tuple[Fact, ...]:
        """Return the case as later rules see it, its findings aside."""
        told = self._specimen(specimen.fields), self._bench(bench.fields)
        key = (*told, fragility, cleaning, states)
        found = self._groups.get(key)
        if found is None:
            more = {"fragility": fragility, "cleaning": cleaning}
            more["findings"] = "none" if cleaning == "none" else "some"
            whole = Fact(specimen.kind, specimen.key, {**specimen.fields, **more})
            found = keep(self._groups, key, (whole, bench, *map(state_fact, states)))
        return found

    def _view(self, finding: Fact, read: Summary, fragility: str) -> tuple[Fact, ...]:
        """Return a finding as later rules see it, with its readings."""
        key = (finding.key, self._finding(finding.fields), read.seen, read.settled, fragility)
        found = self._groups.get(key)
        if found is None:
            more = {"fragility": fragility, "settled": read.settled or NONE}
            whole = Fact(finding.kind, finding.key, {**finding.fields, **more})
            found = keep(self._groups, key, (whole, *read.readings))
        return found


def _same(one: Sequence[object], other: Sequence[object]) -> bool:
    return len(one) == len(other) and all(map(operator.is_, one, other))


def _drawings(
    rules: Iterable[NormalRule],
    make: Callable[[list[Conclusion]], Value],
    shared: dict[str, Conditions],
) -> Drawings[Value]:
    rules = tuple(rules)
    return {e: Drawing((r for r in rules if extent_of(r) is e), make, shared) for e in Extent}


def _pieces(
    drawings: Drawings[Value],
    groups: Sequence[tuple[Fact, ...]],
    shut: tuple[Fact, ...],
    before: Sequence[tuple[Fact, ...]],
    known: Sequence[Value],
) -> tuple[Value, ...]:
    """Return what rules conclude for the case, for each finding, and for several at once.

    Parameters
    ----------
    groups the case and its findings, as later rules see them
    shut   the closed stages, as facts
    before groups of a case with the same first one and the same closed stages, with what rules
           conclude for it: ``known``
    """
    of_case, of_finding, of_several = (drawings[extent] for extent in Extent)
    case, *views = groups
    found = [known[0] if before else of_case.of(case, shut)]
    found += [
        known[place] if before and before[place] is view else of_finding.of(view, case, shut)
        for place, view in enumerate(views, start=1)
    ]
    return tuple([*found, of_several.of(*groups, shut)] if of_several.rules else found)
