"""The head of the plan for many slightly different cases: what-if at the price of what differs.

The rules are joined finding by finding and every part is kept under the values that it reads, so
an answer that no later rule can tell apart costs one recognition and nothing more. Tests hold
each outlook equal to the skeleton that forward chaining gives for the same changed case.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import TypeVar

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import facts_from
from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion, Fact, order_of
from triage.engine.normal import NormalRule
from triage.engine.reading import Reading, group_evidence, read_finding
from triage.exposure.day import DayLedger
from triage.knowledge.rules import Family
from triage.plan.air import AirJudge
from triage.plan.barring import bars_without_air
from triage.plan.ladder import barred_by_attempts, rungs_left
from triage.plan.ordering import Item, first_item, order_rules
from triage.plan.outcomes import (
    Progress,
    Target,
    closed_findings,
    condition_target,
    finding_target,
    progress_of,
)
from triage.plan.skeleton import first_closed, now_rungs, queue_of

Key = tuple[object, ...]
Head = tuple[object, ...]
Value = TypeVar("Value")
LATER = (Family.GATE, Family.FORBID, Family.OFFER, Family.ORDER)
# Kept parts beyond this number are dropped; a session at one bench stays far below it.
KEPT = 50_000


@dataclass(frozen=True, slots=True)
class Outlook:
    """What a plan would begin with, and the rungs of every ladder behind it."""

    step: str | None
    method: str | None
    target: str | None
    stage: str
    refused: tuple[str, ...]
    held: tuple[str, ...]
    rungs: tuple[tuple[str, tuple[str, ...]], ...]

    @property
    def head(self) -> Head:
        """Return what a person would do next; without a step, the stage one waits in."""
        waits_in = "" if self.step is not None else self.stage
        return self.step, waits_in, bool(self.refused), bool(self.held)


@dataclass(frozen=True, eq=False, slots=True)
class Summary:
    """What recognition says about one finding, as far as later rules can see it."""

    readings: tuple[Reading, ...]
    facts: tuple[Fact, ...]
    seen: Key
    settled: str | None
    own: int
    whole: int
    conditions: frozenset[str]


@dataclass(frozen=True, eq=False, slots=True)
class _Local:
    """What the later rules conclude for one finding, or for the specimen alone."""

    own: frozenset[str]
    whole: frozenset[str]
    offers: tuple[Conclusion, ...]
    orders: tuple[Conclusion, ...]


class Work:
    """What was tried in a case: closed findings, holds, and progress by target."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.closed = closed_findings(case)
        self.held = case.held_by()
        self.seen: dict[Key, Outlook] = {}
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
    return tuple(
        Fact(fact.kind, fact.key, {**fact.fields, **touched[fact.key]})
        if fact.key in touched
        else fact
        for fact in facts
    )


def is_local(rule: NormalRule) -> bool:
    """Return whether a rule looks at one finding at a time, so that findings may be told apart."""
    about = [p for p in rule.patterns if p.kind in ("finding", "reading")]
    if len(about) <= 1 and not any(p.absent for p in about):
        return True
    field = {"finding": "id", "reading": "finding"}
    named = {dict(p.variables).get(field[p.kind]) for p in about}
    return len(named) == 1 and None not in named


class Lookahead:
    """Gives the outlook of a case and of its variants on one bench and day."""

    def __init__(
        self,
        consultant: Consultant,
        bench: Bench,
        judge: AirJudge | None = None,
        day: DayLedger | None = None,
    ) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.bench = bench
        self.judge = judge or AirJudge(self.knowledge, bench, day or DayLedger())
        rules = consultant.normal.by_family
        families = (Family.RECOGNISE, *LATER)
        strays = [r.id for f in families for r in rules[f] if not is_local(r)]
        if strays:
            msg = f"rules over several findings at once need another look-ahead: {strays}"
            raise NotImplementedError(msg)
        recognise = consultant.index(Family.RECOGNISE)
        self._finding_read = tuple(sorted({*recognise.read_fields("finding"), "zone", "named"}))
        self._specimen_read = tuple(sorted({*recognise.read_fields("specimen"), "taxon"}))
        # Guards are read at the end that unanswered questions could still reach.
        self._finding_later = self._later("finding", {"zone"})
        self._specimen_later = self._later("specimen", set())
        self._summaries: dict[Key, Summary] = {}
        self._alone: dict[Key, tuple[int, frozenset[str]]] = {}
        self._gates: dict[Key, tuple[Conclusion, ...]] = {}
        self._locals: dict[Key, _Local] = {}
        self._queues: dict[Key, tuple[tuple[str, ...], list[Item] | None]] = {}
        self._barred: dict[str, bool] = {}

    def _later(self, kind: str, more: set[str]) -> tuple[str, ...]:
        read = [self.consultant.index(family).read_fields(kind) for family in LATER]
        return tuple(sorted({name for names in read for name in names} | more))

    def facts(self, case: Case) -> tuple[Fact, ...]:
        """Return the facts of a case on this bench, to be varied with ``with_values``."""
        return facts_from(case, self.bench, self.consultant.vocabulary)

    def of_case(self, case: Case) -> Outlook:
        """Return the outlook of a case as it stands."""
        return self.outlook(self.facts(case), Work(case))

    # -- recognition ------------------------------------------------------------------------

    def summary(self, finding: Fact, specimen: Fact) -> Summary:
        """Return what recognition says about one finding of a specimen."""
        key: Key = (
            finding.key,
            *[finding.fields[name] for name in self._finding_read],
            *[specimen.fields[name] for name in self._specimen_read],
        )
        found = self._summaries.get(key)
        if found is None:
            found = _kept(self._summaries, key, self._summarise(finding, specimen))
        return found

    def _summarise(self, finding: Fact, specimen: Fact) -> Summary:
        consultant = self.consultant
        recognised = consultant.run_plain(Family.RECOGNISE, (specimen, finding))
        evidence = group_evidence(c for c in recognised if c.kind == "evidence")
        readings = read_finding(self.knowledge, consultant.reach, finding, specimen, evidence)
        facts = tuple(f for r in readings if (f := consultant.reading_fact(r)) is not None)
        settled = next((r.deposit for r in readings if r.standing == "settled"), None)
        own, whole, conditions = self._state(recognised)
        seen = tuple(
            sorted((f.fields["deposit"], f.fields["standing"], f.fields["reach"]) for f in facts)
        )
        return Summary(readings, facts, seen, settled, own, whole, conditions)

    def _state(self, recognised: Iterable[Conclusion]) -> tuple[int, int, frozenset[str]]:
        own, whole, conditions = 0, 0, set()
        for conclusion in recognised:
            if conclusion.kind == "grade":
                grade = self.consultant.grades[conclusion.get("fragility")]
                if conclusion.get("finding") is None:
                    whole = max(whole, grade)
                else:
                    own = max(own, grade)
            elif conclusion.kind == "state":
                conditions.add(conclusion.get("condition"))
        return own, whole, frozenset(conditions)

    def _specimen_alone(self, specimen: Fact) -> tuple[int, frozenset[str]]:
        key = tuple([specimen.fields[name] for name in self._specimen_read])
        found = self._alone.get(key)
        if found is None:
            _, whole, conditions = self._state(
                self.consultant.run_plain(Family.RECOGNISE, (specimen,))
            )
            floor = max(whole, self.consultant.floor_of_group(specimen.fields["taxon"]))
            found = _kept(self._alone, key, (floor, conditions))
        return found

    # -- the whole outlook ------------------------------------------------------------------

    def outlook(self, facts: tuple[Fact, ...], work: Work) -> Outlook:
        """Return the outlook of a case with these facts and this work behind it."""
        specimen = next(fact for fact in facts if fact.kind == "specimen")
        findings = [fact for fact in facts if fact.kind == "finding"]
        floor, conditions = self._specimen_alone(specimen)
        summaries = [self.summary(finding, specimen) for finding in findings]
        floors = {"": max([floor, *[s.whole for s in summaries]])}
        floors |= {f.key: s.own for f, s in zip(findings, summaries, strict=True)}
        states = frozenset().union(conditions, *[s.conditions for s in summaries])
        settled = {f.key: s.settled for f, s in zip(findings, summaries, strict=True) if s.settled}
        derived = self.consultant.derive(facts, floors, settled, (), states, work.closed)
        by_kind: dict[str, list[Fact]] = {}
        for fact in derived:
            by_kind.setdefault(fact.kind, []).append(fact)
        seen = self._seen(by_kind, summaries, states)
        found = work.seen.get(seen)
        if found is None:
            found = self._look(by_kind, summaries, states, seen, work)
            _kept(work.seen, seen, found)
        return found

    def _seen(
        self,
        by_kind: Mapping[str, list[Fact]],
        summaries: Sequence[Summary],
        states: frozenset[str],
    ) -> Key:
        """Return all that later rules can see: cases alike in this have the same outlook."""
        names = self._finding_later
        specimen = by_kind["specimen"][0].fields
        return (
            tuple([specimen[name] for name in self._specimen_later]),
            states,
            *[
                (fact.key, summary.seen, *[fact.fields[name] for name in names])
                for fact, summary in zip(by_kind.get("finding", ()), summaries, strict=True)
            ],
        )

    def _look(
        self,
        by_kind: Mapping[str, list[Fact]],
        summaries: Sequence[Summary],
        states: frozenset[str],
        seen: Key,
        work: Work,
    ) -> Outlook:
        common = (*by_kind["specimen"], *by_kind["bench"], *by_kind.get("state", ()))
        findings = by_kind.get("finding", [])
        readings = [fact for summary in summaries for fact in summary.facts]
        gates = self._gates.get(seen)
        if gates is None:
            gates = self.consultant.run_plain(Family.GATE, (*common, *findings, *readings))
            _kept(self._gates, seen, gates)
        closed = tuple(sorted({c.get("stage") for c in gates if c.kind == "close"}))
        stage = first_closed(set(closed))
        common = (*common, *[Fact("closed", name, {"stage": name}) for name in closed])
        shared: Key = (seen[0], states, closed)
        alone = self._local((*shared, None), common)
        own = [
            self._local((*shared, *key), (*common, finding, *summary.facts))  # type: ignore[misc]
            for key, finding, summary in zip(seen[2:], findings, summaries, strict=True)
        ]
        refused = tuple(c.rule for c in gates if c.kind == "refuse")
        ladders = self._ladders([alone, *own], findings, summaries, states, stage, work)
        orders = dict.fromkeys(c for part in (alone, *own) for c in part.orders)
        queues = [queue for _, _, queue in ladders if queue]
        first = None
        if not refused and not work.held:
            first = first_item(self.knowledge, queues, order_rules(orders))
        return Outlook(
            step=first.step if first else None,
            method=first.method if first else None,
            target=first.target if first else None,
            stage=stage,
            refused=refused,
            held=work.held,
            rungs=tuple((key, rungs) for key, rungs, queue in ladders if queue is not None),
        )

    def _local(self, key: Key, facts: tuple[Fact, ...]) -> _Local:
        found = self._locals.get(key)
        if found is None:
            own: set[str] = set()
            whole: set[str] = set()
            for conclusion in self.consultant.run_plain(Family.FORBID, facts):
                named = conclusion.get("finding")
                (whole if named is None else own).update(conclusion.get("method"))
            found = _Local(
                frozenset(own),
                frozenset(whole),
                tuple(c for c in self.consultant.run_plain(Family.OFFER, facts)),
                tuple(c for c in self.consultant.run_plain(Family.ORDER, facts)),
            )
            _kept(self._locals, key, found)
        return found

    def _ladders(
        self,
        parts: Sequence[_Local],
        findings: Sequence[Fact],
        summaries: Sequence[Summary],
        states: frozenset[str],
        stage: str,
        work: Work,
    ) -> list[tuple[str, tuple[str, ...], list[Item] | None]]:
        """Return target, rungs and queue of each ladder; no queue where it rests now."""
        whole = frozenset().union(*[part.whole for part in parts])
        inserts = _inserts(parts)
        made: list[tuple[str, tuple[str, ...], list[Item] | None]] = []
        for finding, summary, part in zip(findings, summaries, parts[1:], strict=True):
            target = finding_target(finding.key)
            zone = finding.fields["zone"]
            progress, done = work.progress(target)
            key: Key = (part, whole, done, target.key in work.closed, stage, inserts)
            ladder = self._queues.get(key)
            if ladder is None:
                offered = _offered(part.offers, finding.key, summary.settled)
                ladder = self._ladder(
                    target, zone, offered, part.own | whole, progress, stage, inserts, work
                )
                _kept(self._queues, key, ladder)
            made.append((target.key, *ladder))
        for condition in sorted(states):
            target = condition_target(condition)
            offered = {
                method
                for part in parts
                for offer in part.offers
                if offer.get("condition") == condition
                for method in offer.get("method")
            }
            progress, _ = work.progress(target)
            ladder = self._ladder(target, None, offered, whole, progress, stage, inserts, work)
            made.append((target.key, *ladder))
        return made

    def _ladder(
        self,
        target: Target,
        zone: str | None,
        offered: set[str],
        out: frozenset[str],
        progress: Progress,
        stage: str,
        inserts: tuple[tuple[frozenset[str], str], ...],
        work: Work,
    ) -> tuple[tuple[str, ...], list[Item] | None]:
        tried = {bar.method for bar in barred_by_attempts(self.knowledge, offered, progress)}
        left = {m for m in offered if m not in out and m not in tried and not self._is_barred(m)}
        rungs = rungs_left(self.knowledge, left, frozenset(), progress)
        now = now_rungs(self.knowledge, stage, target, rungs, progress, work.closed)
        if now is None:
            return rungs, None
        return rungs, queue_of(self.knowledge, inserts, target, zone, now, progress.inserts)

    def _is_barred(self, method: str) -> bool:
        if method not in self._barred:
            bars = bars_without_air(self.knowledge, self.bench, (method,))
            entry = self.knowledge.methods[method]
            self._barred[method] = bool(bars) or not self.judge.permits(entry)
        return self._barred[method]


def _kept(store: dict[Key, Value], key: Key, made: Value) -> Value:
    if len(store) >= KEPT:
        store.clear()
    store[key] = made
    return made


def _offered(offers: Iterable[Conclusion], finding: str, problem: str | None) -> set[str]:
    return {
        method
        for offer in offers
        if offer.get("finding") == finding
        and (problem is None or offer.get("deposit") in (None, problem))
        for method in offer.get("method")
    }


def _inserts(parts: Iterable[_Local]) -> tuple[tuple[frozenset[str], str], ...]:
    found = dict.fromkeys(c for part in parts for c in part.orders if c.kind == "insert")
    conclusions = sorted(found, key=order_of)
    return tuple((frozenset(c.get("method")), c.get("first")) for c in conclusions)
