"""What look-ahead keeps: outlooks, what was tried, and what the later rules conclude.

Methods are bits in the order of harshness, so that a ladder is read off a whole number.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple, TypeVar

from triage.case.models import Case
from triage.engine.casefacts import BENCH, SPECIMEN
from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion, Fact, Varied
from triage.engine.flat import FlatRules, ones
from triage.engine.indexed import RuleIndex
from triage.engine.normal import NormalRule
from triage.engine.plain import conclude
from triage.engine.quickread import QuickReader, Summary
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

Key = tuple[object, ...]
Head = tuple[object, ...]
Inserts = tuple[tuple[frozenset[str], str], ...]
Value = TypeVar("Value")
LATER = (Family.GATE, Family.FORBID, Family.OFFER, Family.ORDER)
# What recognition adds to the fields of the specimen and of a finding.
OF_SPECIMEN = ("fragility", "findings", "cleaning")
OF_FINDING = ("fragility", "settled")
# Kept parts beyond this number are dropped; a session at one bench stays far below it.
KEPT = 20_000


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
    """A finding of a specimen as recognised.

    ``bits`` is what all of it but its fragility lets pass of the later rules; ``place`` is
    (finding, zone, settled reading).
    """

    finding: Fact
    specimen: Fact
    summary: Summary
    bits: int
    place: tuple[str, str, str | None]


class Local(NamedTuple):
    """What the later rules conclude for one finding, or for the specimen alone; methods as bits.

    ``own`` and ``whole`` are forbidden for the finding and for the whole case; ``offers`` are
    (deposit, methods); ``across`` are (earlier, later); ``inserts`` carry their sort key.
    """

    own: int
    whole: int
    offers: tuple[tuple[str | None, int], ...]
    by_condition: Mapping[str, int]
    apart: frozenset[str]
    across: tuple[tuple[int, int], ...]
    inserts: tuple[tuple[tuple[str, str], frozenset[str], str], ...]

    @property
    def only_forbids(self) -> bool:
        """Return whether it says nothing but what is forbidden."""
        return not (self.offers or self.by_condition or self.apart or self.across or self.inserts)

    def offered(self, problem: str | None) -> int:
        """Return the methods offered for a finding that is settled as a problem, or not."""
        bits = 0
        for deposit, methods in self.offers:
            if problem is None or deposit is None or deposit == problem:
                bits |= methods
        return bits


class Front(NamedTuple):
    """The step at the head of one ladder, and all that decides when its turn comes."""

    item: Item
    order: tuple[object, ...]
    head: int
    methods: int


class Gates(NamedTuple):
    """What the gates conclude: stages closed, rules that refuse, and all that shut."""

    stages: frozenset[str]
    refused: tuple[str, ...]
    rules: tuple[str, ...]


class Work:
    """What was tried in a case: closed findings, holds, and progress by target."""

    def __init__(self, knowledge: Knowledge, case: Case) -> None:
        self.knowledge = knowledge
        self.case = case
        self.closed = closed_findings(knowledge, case)
        self.held = case.held_by()
        self.seen: dict[Key, Outlook] = {}
        self.views: dict[Key, View] = {}
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
        if not mine or all(fact.fields[name] == value for name, value in mine.items()):
            continue
        fields = {**fact.fields, **mine}
        if len(mine) == 1:
            made[place] = Varied(fact.kind, fact.key, fields, fact, next(iter(mine)))
        else:
            made[place] = Fact(fact.kind, fact.key, fields)
    return tuple(made)


def _about(rule: NormalRule) -> bool:
    """Return whether a rule looks at a finding or at one of its readings."""
    return any(pattern.kind in ("finding", "reading") for pattern in rule.patterns)


def is_local(rule: NormalRule) -> bool:
    """Return whether a rule looks at one finding at a time, so that findings may be told apart."""
    about = [p for p in rule.patterns if p.kind in ("finding", "reading")]
    if len(about) <= 1 and not any(p.absent for p in about):
        return True
    field = {"finding": "id", "reading": "finding"}
    named = {dict(p.variables).get(field[p.kind]) for p in about}
    return len(named) == 1 and None not in named


class Parts:
    """What look-ahead needs of a rulebase, laid out once."""

    def __init__(self, consultant: Consultant) -> None:
        rules = consultant.normal.by_family
        strays = [r.id for f in (Family.RECOGNISE, *LATER) for r in rules[f] if not is_local(r)]
        if strays:
            msg = f"rules over several findings at once need another look-ahead: {strays}"
            raise NotImplementedError(msg)
        knowledge = consultant.knowledge
        self.reader = QuickReader(consultant)
        key = harshness_key(knowledge)
        self.methods = tuple(sorted(knowledge.methods, key=key))
        self.bit = {method: 1 << place for place, method in enumerate(self.methods)}
        self.wet = {
            m: WETNESS[knowledge.techniques[knowledge.methods[m].technique].wet]
            for m in self.methods
        }
        self.flat = FlatRules(rule for family in LATER for rule in rules[family])
        self.of_gate = self.flat.those(lambda rule: rule.family is Family.GATE)
        self.of_case = self.flat.those(lambda rule: not _about(rule))
        self.of_finding = self.flat.those(_about)
        specimen, finding = self.flat.kind(SPECIMEN), self.flat.kind("finding")
        self.specimen, self.finding = specimen.without(OF_SPECIMEN), finding.without(OF_FINDING)
        self.bench, self.reading = self.flat.kind(BENCH), self.flat.kind("reading")
        self.state, self.stage = self.flat.kind("state"), self.flat.kind("closed")
        grades = tuple(knowledge.fragility)
        self.fragile_specimen = tuple(specimen.value("fragility", grade) for grade in grades)
        self.fragile_finding = tuple(finding.value("fragility", grade) for grade in grades)
        self._settled, self._specimen = finding, specimen
        # Rules that must be joined, apart: about a finding or not, gates or later.
        self.rest = {
            (gate, about): RuleIndex(
                rule
                for rule in self.flat.rest
                if (rule.family is Family.GATE) == gate and _about(rule) == about
            )
            for gate in (True, False)
            for about in (True, False)
        }
        self._readings: dict[Key, int] = {}
        self._states: dict[frozenset[str], int] = {}
        self._stages: dict[frozenset[str], int] = {}
        self._said: dict[tuple[int, str], Local] = {}
        self._locals: dict[Key, Local] = {}
        self._gates: dict[Key, Gates] = {}
        self._named: dict[int, tuple[str, ...]] = {}

    # -- what facts let pass ---------------------------------------------------------------------

    def of_view(self, finding: Fact, summary: Summary) -> int:
        """Return what a finding with its readings lets pass, all but its fragility."""
        zone = finding.fields["zone"]
        key = (zone, summary.seen)
        readings = self._readings.get(key)
        if readings is None:
            fields = [reading.fields for reading in reading_facts(finding, summary)]
            readings = keep(self._readings, key, self.reading.of_any(fields))
        settled = self._settled.value("settled", summary.settled or NONE)
        return self.finding.of_fact(finding) & settled & readings

    def of_specimen(
        self, specimen: Fact, floor: int, cleaning: str, states: frozenset[str], findings: bool
    ) -> int:
        """Return what the specimen lets pass with what recognition says of it as a whole."""
        whole = self._specimen
        passed = self._states.get(states)
        if passed is None:
            passed = self.state.of_any([{"condition": name} for name in states])
            self._states[states] = passed
        return (
            self.specimen.of_fact(specimen)
            & self.fragile_specimen[floor]
            & whole.value("cleaning", cleaning)
            & whole.value("findings", "some" if findings else "none")
            & passed
        )

    def of_stages(self, stages: frozenset[str]) -> int:
        """Return what the closed stages let pass."""
        if stages not in self._stages:
            self._stages[stages] = self.stage.of_any([{"stage": name} for name in sorted(stages)])
        return self._stages[stages]

    # -- what the rules then say -----------------------------------------------------------------

    def gates(self, fired: int, joined: tuple[Conclusion, ...]) -> Gates:
        """Return what the gates that fired conclude."""
        key = (fired, joined)
        found = self._gates.get(key)
        if found is None:
            said = [t for place in ones(fired) for t in self._drawn(place, "")] + list(joined)
            found = Gates(
                frozenset(c.get("stage") for c in said if c.kind == "close"),
                tuple(sorted({c.rule for c in said if c.kind == "refuse"})),
                tuple(sorted({c.rule for c in said})),
            )
            keep(self._gates, key, found)
        return found

    def local(self, fired: int, zone: str, joined: tuple[Conclusion, ...]) -> Local:
        """Return what the later rules that fired conclude, laid out for ladders."""
        key = (fired, zone, joined)
        found = self._locals.get(key)
        if found is None:
            pieces = [self._of_rule(place, zone) for place in ones(fired)]
            if joined:
                pieces.append(self._local_of(joined))
            found = keep(self._locals, key, merged(pieces))
        return found

    def _drawn(self, place: int, zone: str) -> list[Conclusion]:
        rule = self.flat.rules[place]
        # The variables of a flat rule say which finding it is, and where; which does not matter.
        binding = {v: zone if n == "zone" else "" for t in rule.templates for n, v in t.variables}
        return [conclude(template, rule.id, (binding, ())) for template in rule.templates]

    def _of_rule(self, place: int, zone: str) -> Local:
        key = (place, zone)
        if key not in self._said:
            self._said[key] = self._local_of(self._drawn(place, zone))
        return self._said[key]

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
            if len(self._named) >= KEPT:
                self._named.clear()
            found = self._named[bits] = tuple([self.methods[place] for place in ones(bits)])
        return found

    def _local_of(self, said: Iterable[Conclusion]) -> Local:
        own = whole = 0
        offers: list[tuple[str | None, int]] = []
        by_condition: dict[str, int] = {}
        apart: list[str] = []
        across: list[tuple[int, int]] = []
        inserts: list[tuple[tuple[str, str], frozenset[str], str]] = []
        for c in said:
            if c.kind == "forbid" and c.get("finding") is None:
                whole |= self.mask(c.get("method"))
            elif c.kind == "forbid":
                own |= self.mask(c.get("method"))
            elif c.kind == "offer" and c.get("finding") is not None:
                offers.append((c.get("deposit"), self.mask(c.get("method"))))
            elif c.kind == "offer" and c.get("condition") is not None:
                known = by_condition.get(c.get("condition"), 0)
                by_condition[c.get("condition")] = known | self.mask(c.get("method"))
            elif c.kind == "apart":
                apart.append(str(c.get("zone")))
            elif c.kind == "before" and c.get("across"):
                across.append((self.mask(c.get("earlier")), self.mask(c.get("later"))))
            elif c.kind == "insert":
                key = (c.rule, c.text or repr(c.fields))
                inserts.append((key, frozenset(c.get("method")), c.get("first")))
        return Local(
            own, whole, tuple(offers), by_condition, frozenset(apart), tuple(across), tuple(inserts)
        )


def merged(pieces: Iterable[Local]) -> Local:
    """Return what several rules conclude together."""
    own = whole = 0
    offers: dict[str | None, int] = {}
    by_condition: dict[str, int] = {}
    apart: set[str] = set()
    across: list[tuple[int, int]] = []
    inserts: list[tuple[tuple[str, str], frozenset[str], str]] = []
    for piece in pieces:
        own |= piece.own
        whole |= piece.whole
        if piece.only_forbids:
            continue
        for deposit, methods in piece.offers:
            offers[deposit] = offers.get(deposit, 0) | methods
        for condition, methods in piece.by_condition.items():
            by_condition[condition] = by_condition.get(condition, 0) | methods
        apart |= piece.apart
        across += piece.across
        inserts += piece.inserts
    return Local(
        own,
        whole,
        tuple(offers.items()),
        by_condition,
        frozenset(apart),
        tuple(dict.fromkeys(across)),
        tuple(inserts),
    )


def reading_facts(finding: Fact, summary: Summary) -> tuple[Fact, ...]:
    """Return the readings of a finding as later rules see them."""
    known = {"finding": finding.key, "zone": finding.fields["zone"]}
    return tuple(
        Fact(
            "reading",
            f"{finding.key}/{deposit}",
            {**known, "deposit": deposit, "standing": standing, "reach": reach},
        )
        for deposit, standing, reach in summary.seen
    )


def keep(store: dict[Key, Value], key: Key, made: Value) -> Value:
    """Keep a part that was made and return it; a full store starts anew."""
    if len(store) >= KEPT:
        store.clear()
    store[key] = made
    return made
