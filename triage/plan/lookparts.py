"""What look-ahead keeps: outlooks, what was tried, and what the later rules conclude.

Methods are bits in the order of harshness, so that a ladder is read off a whole number.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from triage.case.models import Case
from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.many import Drawing, Extent, Key, Recognition, Summary, extent_of, keep
from triage.engine.normal import NormalRule
from triage.engine.vocabulary import NONE
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.ladder import harshness_key
from triage.plan.ordering import WETNESS, Item
from triage.plan.outcomes import (
    Progress,
    Target,
    closed_findings,
    condition_target,
    finding_target,
    progress_of,
)

Head = tuple[object, ...]
Inserts = tuple[tuple[frozenset[str], str], ...]
LATER = (Family.GATE, Family.FORBID, Family.OFFER, Family.ORDER)


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a plan would begin with, and the rungs of every ladder behind it.

    ``gates`` are the rules that close a stage or refuse the specimen.
    """

    step: str | None
    method: str | None
    target: str | None
    stage: str
    refused: tuple[str, ...]
    held: tuple[str, ...]
    gates: tuple[str, ...]
    rungs: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def head(self) -> Head:
        """Return what a person would do next; without a step, the stage one waits in."""
        waits_in = "" if self.step is not None else self.stage
        return self.step, waits_in, bool(self.refused), bool(self.held)


class View(NamedTuple):
    """A finding with what recognition adds to it, how it is read, and both as facts."""

    finding: Fact
    read: Summary
    facts: tuple[Fact, ...]


class Local(NamedTuple):
    """What the later rules conclude for one finding, or for the case; methods as bits.

    ``own`` and ``whole`` are kept from findings and from the whole case; ``offers`` are
    (deposit, methods) by finding; ``across`` are (earlier, later); ``inserts`` carry a sort key.
    """

    own: Mapping[str, int]
    whole: int
    offers: Mapping[str, Mapping[str | None, int]]
    by_condition: Mapping[str, int]
    apart: frozenset[str]
    across: tuple[tuple[int, int], ...]
    inserts: tuple[tuple[tuple[str, str], frozenset[str], str], ...]

    def offered(self, finding: str, problem: str | None) -> int:
        """Return the methods offered for a finding that is settled as a problem, or not."""
        bits = 0
        for deposit, methods in self.offers.get(finding, {}).items():
            if problem is None or deposit is None or deposit == problem:
                bits |= methods
        return bits


class Front(NamedTuple):
    """The step at the head of one ladder, and all that decides when its turn comes.

    ``acts`` are the acts on the whole insect behind the head; ``act`` is the head, if it is one.
    """

    item: Item
    order: tuple[object, ...]
    head: int
    methods: int
    act: int
    acts: int


class Gates(NamedTuple):
    """What the gates conclude: stages closed, rules that refuse, and all that shut."""

    stages: frozenset[str]
    refused: frozenset[str]
    rules: frozenset[str]


class Seen(NamedTuple):
    """An outlook with all that it was made of, finding by finding."""

    facts: tuple[Fact, ...]
    read: Sequence[Summary]
    case: tuple[Fact, ...]
    closed: tuple[Fact, ...]
    views: Sequence[View]
    pieces: Sequence[Gates]
    gates: Gates
    locals: Sequence[Local]
    outlook: Outlook


class Work:
    """What was tried in a case: closed findings, holds, and progress by target."""

    def __init__(self, knowledge: Knowledge, case: Case) -> None:
        self.knowledge = knowledge
        self.case = case
        self.closed = closed_findings(knowledge, case)
        self.held = case.held_by()
        self.seen: dict[Key, tuple[Outlook, object]] = {}
        # What was seen first with each specimen fact, by its identity.
        self.bases: dict[int, Seen] = {}
        self._progress: dict[str, tuple[Target, Progress, Key]] = {}

    def of_finding(self, finding: str) -> tuple[Target, Progress, Key]:
        """Return the target of a finding, its progress, and a key equal for equal progress."""
        return self._progress.get(finding) or self._of(finding_target(finding))

    def of_condition(self, condition: str) -> tuple[Target, Progress, Key]:
        """Return the same for a condition of the whole specimen."""
        target = condition_target(condition)
        return self._progress.get(target.key) or self._of(target)

    def _of(self, target: Target) -> tuple[Target, Progress, Key]:
        done = progress_of(self.knowledge, self.case, target)
        key = (
            target.key in self.closed,
            done.cleared_by is not None,
            tuple(sorted(done.passes.items())),
            tuple(sorted(done.last.items())),
            done.harmed,
            done.failed_inserts,
            done.inserts,
            frozenset(done.skipped),
        )
        found = self._progress[target.key] = target, done, key
        return found


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
        # A fact that stays as it is stays the same object: look-ahead knows it again by that.
        if mine and any(fact.fields[name] != value for name, value in mine.items()):
            made[place] = Fact(fact.kind, fact.key, {**fact.fields, **mine})
    return tuple(made)


class Parts:
    """What look-ahead needs of a rulebase, laid out once."""

    def __init__(self, consultant: Consultant) -> None:
        knowledge = consultant.knowledge
        self.consultant = consultant
        self.reader = Recognition(consultant)
        self.methods = tuple(sorted(knowledge.methods, key=harshness_key(knowledge)))
        self.bit = {method: 1 << place for place, method in enumerate(self.methods)}
        self.wet = {
            m: WETNESS[knowledge.techniques[knowledge.methods[m].technique].wet]
            for m in self.methods
        }
        by_family = consultant.normal.by_family
        later = [rule for family in LATER[1:] for rule in by_family[family]]
        self.gates = {
            extent: Drawing(_of_extent(by_family[Family.GATE], extent), _gates) for extent in Extent
        }
        self.later = {extent: Drawing(_of_extent(later, extent), self._local) for extent in Extent}
        self._derived: dict[Key, tuple[Fact, Fact]] = {}
        self._together: dict[Key, tuple[Fact, ...]] = {}
        self._views: dict[Key, tuple[View, Fact]] = {}
        self._named: dict[int, tuple[str, ...]] = {}

    def derived(self, fact: Fact, more: Mapping[str, str]) -> Fact:
        """Return a fact with what recognition adds; the same object for the same things."""
        key = (id(fact), *more.values())
        found = self._derived.get(key)
        if found is None:
            made = Fact(fact.kind, fact.key, {**fact.fields, **more})
            # The fact is kept beside what was made, so that no other can take its identity.
            found = keep(self._derived, key, (fact, made))
        return found[1]

    def same(self, *facts: Fact) -> tuple[Fact, ...]:
        """Return facts together; the same object for the same facts."""
        key = tuple(map(id, facts))
        return self._together.get(key) or keep(self._together, key, facts)

    def view(self, finding: Fact, read: Summary, fragility: str) -> View:
        """Return a finding as recognised; the same object for the same things."""
        key = (id(finding), id(read), fragility)
        found = self._views.get(key)
        if found is None:
            more = {"fragility": fragility, "settled": read.settled or NONE}
            whole = self.derived(finding, more)
            found = keep(self._views, key, (View(whole, read, (whole, *read.readings)), finding))
        return found[0]

    def mask(self, methods: Iterable[str]) -> int:
        """Return methods as bits."""
        bits = 0
        for method in methods:
            bits |= self.bit[method]
        return bits

    def names(self, bits: int) -> tuple[str, ...]:
        """Return methods by name, the least harsh first."""
        found = self._named.get(bits)
        if found is None:
            places = [place for place in range(bits.bit_length()) if bits >> place & 1]
            found = self._named[bits] = tuple([self.methods[place] for place in places])
        return found

    def _local(self, said: Iterable[Conclusion]) -> Local:
        """Return conclusions of the later rules laid out for ladders."""
        own: dict[str, int] = {}
        whole = 0
        offers: dict[str, dict[str | None, int]] = {}
        by_condition: dict[str, int] = {}
        apart: set[str] = set()
        across: dict[tuple[int, int], None] = {}
        inserts: list[tuple[tuple[str, str], frozenset[str], str]] = []
        for c in said:
            finding = c.get("finding")
            if c.kind == "forbid" and finding is None:
                whole |= self.mask(c.get("method"))
            elif c.kind in ("forbid", "pass-over"):
                own[finding] = own.get(finding, 0) | self.mask(c.get("method"))
            elif c.kind == "offer" and finding is not None:
                mine, deposit = offers.setdefault(finding, {}), c.get("deposit")
                mine[deposit] = mine.get(deposit, 0) | self.mask(c.get("method"))
            elif c.kind == "offer" and c.get("condition") is not None:
                known = by_condition.get(c.get("condition"), 0)
                by_condition[c.get("condition")] = known | self.mask(c.get("method"))
            elif c.kind == "apart":
                apart.add(str(c.get("zone")))
            elif c.kind == "before" and c.get("across"):
                across[self.mask(c.get("earlier")), self.mask(c.get("later"))] = None
            elif c.kind == "insert":
                key = (c.rule, c.text or repr(c.fields))
                inserts.append((key, frozenset(c.get("method")), c.get("first")))
        return Local(
            own, whole, offers, by_condition, frozenset(apart), tuple(across), tuple(inserts)
        )


def _of_extent(rules: Iterable[NormalRule], extent: Extent) -> list[NormalRule]:
    return [rule for rule in rules if extent_of(rule) is extent]


def _gates(said: Iterable[Conclusion]) -> Gates:
    said = tuple(said)
    return Gates(
        frozenset(c.get("stage") for c in said if c.kind == "close"),
        frozenset(c.rule for c in said if c.kind == "refuse"),
        frozenset(c.rule for c in said),
    )


def joined_gates(pieces: Iterable[Gates]) -> Gates:
    """Return what several sets of gates conclude together."""
    return Gates(*[frozenset().union(*parts) for parts in zip(*pieces, strict=True)])
