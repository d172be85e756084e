"""The head of the plan for many slightly different cases: what-if at the price of what differs.

The rules are joined finding by finding and every part is kept under the values that it reads, so
an answer that no later rule can tell apart costs one recognition and nothing more. Tests hold
each outlook equal to the skeleton that forward chaining gives for the same changed case.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cache, partial
from typing import TypeVar

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import facts_from
from triage.engine.consult import LEFT_ALONE, Consultant
from triage.engine.facts import Conclusion, Fact, order_of
from triage.engine.indexed import RuleIndex
from triage.engine.normal import NormalRule
from triage.engine.quickread import QuickReader, Summary
from triage.exposure.day import DayLedger
from triage.knowledge.rules import Family
from triage.plan.air import AirJudge
from triage.plan.barring import bars_without_air
from triage.plan.ladder import barred_by_attempts, harshness_key
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
Build = Callable[[], tuple[Fact, ...]]
Value = TypeVar("Value")
LATER = (Family.GATE, Family.FORBID, Family.OFFER, Family.ORDER)
# Kept parts beyond this number are dropped; a session at one bench stays far below it.
KEPT = 50_000


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
class _View:
    """A finding of a specimen as recognised; ``code`` stands for all that later rules see."""

    finding: Fact
    specimen: Fact
    summary: Summary
    code: int


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
        self.views: dict[Key, _View] = {}
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


class _Parts:
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
        self.finding_read = tuple(sorted({*recognise.read_fields("finding"), "zone", "named"}))
        self.specimen_read = tuple(sorted({*recognise.read_fields("specimen"), "taxon"}))
        self.finding_later = _later(consultant, "finding", {"zone"})
        self.specimen_later = _later(consultant, "specimen", set())
        self.of_finding = {f: RuleIndex(r for r in rules[f] if _about(r)) for f in LATER}
        self.of_case = {f: RuleIndex(r for r in rules[f] if not _about(r)) for f in LATER}
        methods = consultant.knowledge.methods
        key = harshness_key(consultant.knowledge)
        self.harsh = {method: place for place, method in enumerate(sorted(methods, key=key))}


def _later(consultant: Consultant, kind: str, more: set[str]) -> tuple[str, ...]:
    """Return the observed fields of a kind that the later families read."""
    derived = {name for of, name in consultant.vocabulary.derived if of == kind}
    read = [consultant.index(family).read_fields(kind) for family in LATER]
    return tuple(sorted(({name for names in read for name in names} | more) - derived))


class Lookahead:
    """Gives the outlook of a case and of its variants on one bench and day."""

    def __init__(
        self,
        consultant: Consultant,
        bench: Bench,
        judge: AirJudge | None = None,
        day: DayLedger | None = None,
        *,
        parts: _Parts | None = None,
    ) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.bench = bench
        self.judge = judge or AirJudge(self.knowledge, bench, day or DayLedger())
        self.parts = parts or _Parts(consultant)
        self._summaries: dict[Key, Summary] = {}
        self._alone: dict[Key, tuple[int, frozenset[str]]] = {}
        self._gates: dict[Key, tuple[Conclusion, ...]] = {}
        self._locals: dict[Key, _Local] = {}
        self._queues: dict[Key, tuple[tuple[str, ...], list[Item] | None]] = {}
        self._barred: dict[str, bool] = {}
        self._codes: dict[Key, int] = {}
        self._by_control: dict[str, Lookahead] = {}

    def on_bench(self, bench: Bench) -> Lookahead:
        """Return the look-ahead on another bench; what the bench cannot change is shared."""
        same_air = (bench.room, bench.margin, bench.judge_by) == (
            self.bench.room,
            self.bench.margin,
            self.bench.judge_by,
        )
        # The air in the same room under another control is asked for again and again.
        control = bench.room.control
        alike = bench.model_copy(update={"room": self.bench.room}) == self.bench
        if alike and not same_air and control in self._by_control:
            return self._by_control[control]
        judge = self.judge if same_air else AirJudge(self.knowledge, bench, self.judge.day)
        other = Lookahead(self.consultant, bench, judge, parts=self.parts)
        other._codes = self._codes
        if not self.parts.recognise_reads_bench:
            other._summaries, other._alone = self._summaries, self._alone
        # Rules see nothing of a bench but its control.
        if control == self.bench.room.control:
            other._gates, other._locals = self._gates, self._locals
        elif alike and bench.room == self.bench.room.model_copy(update={"control": control}):
            self._by_control[control] = other
        return other

    def facts(self, case: Case) -> tuple[Fact, ...]:
        """Return the facts of a case on this bench, to be varied with ``with_values``."""
        return facts_from(case, self.bench, self.consultant.vocabulary)

    def of_case(self, case: Case) -> Outlook:
        """Return the outlook of a case as it stands."""
        return self.outlook(self.facts(case), Work(case))

    # -- recognition ------------------------------------------------------------------------

    def summary(self, finding: Fact, specimen: Fact, bench: Fact) -> Summary:
        """Return what recognition says about one finding of a specimen."""
        key: Key = (
            finding.key,
            *[finding.fields[name] for name in self.parts.finding_read],
            *[specimen.fields[name] for name in self.parts.specimen_read],
        )
        found = self._summaries.get(key)
        if found is None:
            made = self.parts.reader.finding(finding, specimen, bench)
            found = _kept(self._summaries, key, made)
        return found

    def _specimen_alone(self, specimen: Fact, bench: Fact) -> tuple[int, frozenset[str]]:
        key = tuple([specimen.fields[name] for name in self.parts.specimen_read])
        found = self._alone.get(key)
        if found is None:
            whole, conditions = self.parts.reader.specimen((specimen, bench))
            floor = max(whole, self.consultant.floor_of_group(specimen.fields["taxon"]))
            found = _kept(self._alone, key, (floor, conditions))
        return found

    # -- the whole outlook ------------------------------------------------------------------

    def outlook(self, facts: tuple[Fact, ...], work: Work) -> Outlook:
        """Return the outlook of a case with these facts and this work behind it.

        Facts come as ``facts_from`` gives them: the specimen, the bench, the findings.
        """
        specimen, bench, *findings = facts
        floor, conditions = self._specimen_alone(specimen, bench)
        views = [self._view(finding, specimen, bench, work) for finding in findings]
        floor = max([floor, *[view.summary.whole for view in views]])
        states = conditions.union(*[view.summary.conditions for view in views])
        seen = (
            self._code(
                *[specimen.fields[name] for name in self.parts.specimen_later],
                floor,
                self._cleaning(views, work),
                states,
            ),
            *[(view.code, max(floor, view.summary.own)) for view in views],
        )
        found = work.seen.get(seen)
        if found is None:
            found = _kept(work.seen, seen, self._look(facts, views, floor, states, seen, work))
        return found

    def _view(self, finding: Fact, specimen: Fact, bench: Fact, work: Work) -> _View:
        key: Key = (id(finding), id(specimen))
        found = work.views.get(key)
        if found is None:
            summary = self.summary(finding, specimen, bench)
            fields = finding.fields
            later = [fields[name] for name in self.parts.finding_later]
            code = self._code(finding.key, summary.seen, *later)
            # The facts are kept beside the view, so that no other fact can take their identity.
            found = _kept(work.views, key, _View(finding, specimen, summary, code))
        return found

    def _code(self, *values: object) -> int:
        """Return one number for equal values: what later rules see, cheap to compare."""
        return self._codes.setdefault(values, len(self._codes))

    def _cleaning(self, views: Sequence[_View], work: Work) -> bool:
        """Return whether a finding is still open; the same as ``Consultant.derive`` works out."""
        deposits = self.knowledge.deposits
        return any(
            view.finding.key not in work.closed
            and (
                view.summary.settled is None
                or deposits[view.summary.settled].guard not in LEFT_ALONE
            )
            for view in views
        )

    def _look(
        self,
        facts: tuple[Fact, ...],
        views: Sequence[_View],
        floor: int,
        states: frozenset[str],
        seen: Key,
        work: Work,
    ) -> Outlook:
        @cache
        def derived() -> tuple[tuple[Fact, ...], tuple[Fact, ...]]:
            """Return the facts of the case and of the findings, once any part needs them."""
            floors = {"": floor} | {view.finding.key: view.summary.own for view in views}
            settled = {v.finding.key: v.summary.settled for v in views if v.summary.settled}
            made = self.consultant.derive(facts, floors, settled, (), states, work.closed)
            behind = 2 + len(views)
            return (*made[:2], *made[behind:]), made[2:behind]

        def about(place: int, closed: tuple[Fact, ...] = ()) -> tuple[Fact, ...]:
            view = views[place]
            zone = view.finding.fields["zone"]
            read = self.parts.reader.facts(view.finding.key, zone, view.summary)
            return (*derived()[0], derived()[1][place], *read, *closed)

        gates = self._gate(
            seen, lambda: derived()[0], [partial(about, n) for n in range(len(views))]
        )
        stages = sorted({c.get("stage") for c in gates if c.kind == "close"})
        closed = tuple(Fact("closed", name, {"stage": name}) for name in stages)
        shared: Key = (seen[0], tuple(stages))
        parts = [self._local(shared, self.parts.of_case, lambda: (*derived()[0], *closed))]
        parts += [
            self._local((*shared, part), self.parts.of_finding, partial(about, place, closed))
            for place, part in enumerate(seen[1:])
        ]
        stage = first_closed(set(stages))
        refused = tuple(sorted(c.rule for c in gates if c.kind == "refuse"))
        ladders = self._ladders(parts, views, states, stage, work)
        first = None
        if not refused and not work.held:
            orders = dict.fromkeys(c for part in parts for c in part.orders)
            queues = [queue for _, _, queue in ladders if queue]
            first = first_item(self.knowledge, queues, order_rules(orders))
        return Outlook(
            step=first.step if first else None,
            method=first.method if first else None,
            target=first.target if first else None,
            stage=stage,
            refused=refused,
            held=work.held,
            gates=tuple(sorted({c.rule for c in gates})),
            rungs=tuple((key, rungs) for key, rungs, queue in ladders if queue is not None),
        )

    def _gate(self, seen: Key, case: Build, findings: Sequence[Build]) -> tuple[Conclusion, ...]:
        about = self.parts.of_finding[Family.GATE]
        key = seen if about.compiled else seen[:1]
        found = self._gates.get(key)
        if found is None:
            gates = self.parts.of_case[Family.GATE].drawn_unsorted(case())
            if about.compiled:
                for build in findings:
                    gates += about.drawn_unsorted(build())
            found = _kept(self._gates, key, tuple(dict.fromkeys(gates)))
        return found

    def _local(self, key: Key, indexes: Mapping[Family, RuleIndex], build: Build) -> _Local:
        found = self._locals.get(key)
        if found is None:
            facts = build()
            own: set[str] = set()
            whole: set[str] = set()
            for conclusion in indexes[Family.FORBID].drawn_unsorted(facts):
                named = conclusion.get("finding")
                (whole if named is None else own).update(conclusion.get("method"))
            found = _Local(
                frozenset(own),
                frozenset(whole),
                tuple(indexes[Family.OFFER].drawn_unsorted(facts)),
                tuple(indexes[Family.ORDER].drawn_unsorted(facts)),
            )
            _kept(self._locals, key, found)
        return found

    def _ladders(
        self,
        parts: Sequence[_Local],
        views: Sequence[_View],
        states: frozenset[str],
        stage: str,
        work: Work,
    ) -> list[tuple[str, tuple[str, ...], list[Item] | None]]:
        """Return target, rungs and queue of each ladder; no queue where it rests now."""
        whole = parts[0].whole.union(*[part.whole for part in parts[1:]])
        inserts = _inserts(parts)
        made: list[tuple[str, tuple[str, ...], list[Item] | None]] = []
        for view, part in zip(views, parts[1:], strict=True):
            finding = view.finding.key
            target = finding_target(finding)
            zone = view.finding.fields["zone"]
            progress, done = work.progress(target)
            key: Key = (part, whole, done, target.key in work.closed, stage, inserts)
            ladder = self._queues.get(key)
            if ladder is None:
                offered = _offered(part.offers, finding, view.summary.settled)
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
        tried: set[str] = set()
        if progress.harmed or progress.skipped or progress.failed_inserts:
            tried = {bar.method for bar in barred_by_attempts(self.knowledge, offered, progress)}
        free = [m for m in offered if m not in out and m not in tried and not self._is_barred(m)]
        methods = self.knowledge.methods
        rungs = tuple(
            m
            for m in sorted(free, key=self.parts.harsh.__getitem__)
            if progress.done(m) < methods[m].passes
        )
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
