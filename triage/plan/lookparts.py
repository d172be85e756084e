"""What look-ahead keeps: outlooks, what was tried, and the conclusions about one finding."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from operator import itemgetter
from typing import TypeVar

from triage.case.models import Case
from triage.engine.consult import Consultant
from triage.engine.facts import Fact, order_of
from triage.engine.indexed import RuleIndex
from triage.engine.normal import NormalRule
from triage.engine.quickread import QuickReader, Summary
from triage.knowledge.rules import Family
from triage.plan.ladder import harshness_key
from triage.plan.ordering import OrderRules, order_rules
from triage.plan.outcomes import (
    Progress,
    Target,
    closed_findings,
    progress_of,
)

Key = tuple[object, ...]
Head = tuple[object, ...]
Inserts = tuple[tuple[frozenset[str], str], ...]
Build = Callable[[], tuple[Fact, ...]]
Value = TypeVar("Value")
LATER = (Family.GATE, Family.FORBID, Family.OFFER, Family.ORDER)
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


@dataclass(frozen=True, eq=False, slots=True)
class View:
    """A finding of a specimen as recognised; ``code`` stands for all that later rules see."""

    finding: Fact
    specimen: Fact
    summary: Summary
    code: int


@dataclass(frozen=True, eq=False, slots=True)
class Local:
    """What the later rules conclude for one finding, or for the specimen alone.

    ``own`` and ``whole`` are methods forbidden for the finding and for the whole case; offers are
    (deposit, methods) for the finding and methods by condition; ``inserts`` carry their sort key.
    """

    own: frozenset[str]
    whole: frozenset[str]
    offers: tuple[tuple[str | None, frozenset[str]], ...]
    by_condition: Mapping[str, frozenset[str]]
    order: OrderRules
    inserts: tuple[tuple[Key, frozenset[str], str], ...]

    def offered(self, problem: str | None) -> set[str]:
        """Return the methods offered for a finding that is settled as a problem, or not."""
        return {
            method
            for deposit, methods in self.offers
            if problem is None or deposit in (None, problem)
            for method in methods
        }


def local_of(indexes: Mapping[Family, RuleIndex], facts: tuple[Fact, ...]) -> Local:
    """Return what these rules conclude from these facts, laid out for ladders."""
    own: set[str] = set()
    whole: set[str] = set()
    for forbid in indexes[Family.FORBID].drawn_unsorted(facts):
        (whole if forbid.get("finding") is None else own).update(forbid.get("method"))
    offers: list[tuple[str | None, frozenset[str]]] = []
    by_condition: dict[str, set[str]] = {}
    for offer in indexes[Family.OFFER].drawn_unsorted(facts):
        if offer.get("finding") is not None:
            offers.append((offer.get("deposit"), frozenset(offer.get("method"))))
        elif offer.get("condition") is not None:
            by_condition.setdefault(offer.get("condition"), set()).update(offer.get("method"))
    orders = indexes[Family.ORDER].drawn_unsorted(facts)
    return Local(
        frozenset(own),
        frozenset(whole),
        tuple(offers),
        {condition: frozenset(methods) for condition, methods in by_condition.items()},
        order_rules(orders),
        tuple(
            (order_of(c), frozenset(c.get("method")), c.get("first"))
            for c in orders
            if c.kind == "insert"
        ),
    )


class Work:
    """What was tried in a case: closed findings, holds, and progress by target."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.closed = closed_findings(case)
        self.held = case.held_by()
        self.seen: dict[Key, Outlook] = {}
        self.views: dict[Key, View] = {}
        self._progress: dict[Target, tuple[Progress, Key]] = {}

    def progress(self, target: Target) -> tuple[Progress, Key]:
        """Return the progress on a target, and a key that is equal for equal progress."""
        if target not in self._progress:
            done = progress_of(self.case, target)
            key = (
                done.cleared_by is not None,
                tuple(sorted(done.passes.items())),
                done.harmed,
                done.failed_inserts,
                done.inserts,
                frozenset(done.skipped),
            )
            self._progress[target] = done, key
        return self._progress[target]


def with_values(
    facts: tuple[Fact, ...], changes: Mapping[tuple[str, str], str]
) -> tuple[Fact, ...]:
    """Return the facts with other values for some (fact key, field) pairs."""
    touched: dict[str, dict[str, str]] = {}
    for (key, name), value in changes.items():
        touched.setdefault(key, {})[name] = value
    # A fact that stays as it is stays the same object: look-ahead knows it again by that.
    return tuple(
        Fact(fact.kind, fact.key, {**fact.fields, **touched[fact.key]})
        if any(fact.fields[n] != v for n, v in touched.get(fact.key, {}).items())
        else fact
        for fact in facts
    )


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
        families = (Family.RECOGNISE, *LATER)
        strays = [r.id for f in families for r in rules[f] if not is_local(r)]
        if strays:
            msg = f"rules over several findings at once need another look-ahead: {strays}"
            raise NotImplementedError(msg)
        recognise = consultant.index(Family.RECOGNISE)
        self.reader = QuickReader(consultant)
        self.recognise_reads_bench = bool(recognise.read_fields("bench"))
        # Two words more than needed: a getter of one name would return no tuple.
        of_finding, of_specimen = ("zone", "zone", "named"), ("taxon", "taxon")
        self.finding_read = itemgetter(*recognise.read_fields("finding"), *of_finding)
        self.specimen_read = itemgetter(*recognise.read_fields("specimen"), *of_specimen)
        self.finding_later = itemgetter(*_later(consultant, "finding"), *of_finding)
        self.specimen_later = itemgetter(*_later(consultant, "specimen"), *of_specimen)
        self.of_finding = {f: RuleIndex(r for r in rules[f] if _about(r)) for f in LATER}
        self.of_case = {f: RuleIndex(r for r in rules[f] if not _about(r)) for f in LATER}
        methods = consultant.knowledge.methods
        key = harshness_key(consultant.knowledge)
        self.harsh = {method: place for place, method in enumerate(sorted(methods, key=key))}


def _later(consultant: Consultant, kind: str) -> tuple[str, ...]:
    """Return the observed fields of a kind that the later families read."""
    derived = {name for of, name in consultant.vocabulary.derived if of == kind}
    read = {name for family in LATER for name in consultant.index(family).read_fields(kind)}
    return tuple(sorted(read - derived))


def keep(store: dict[Key, Value], key: Key, made: Value) -> Value:
    """Keep a part that was made and return it; a full store starts anew."""
    if len(store) >= KEPT:
        store.clear()
    store[key] = made
    return made
