"""The head of the plan for many slightly different cases: what-if at the price of what differs.

The rules are joined finding by finding and every part is kept under the values that it reads, so
an answer that no later rule can tell apart costs one recognition and nothing more. Tests hold
each outlook equal to the skeleton that forward chaining gives for the same changed case.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from functools import cache, partial
from itertools import count

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import facts_from
from triage.engine.consult import LEFT_ALONE, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.indexed import RuleIndex
from triage.engine.quickread import Summary
from triage.exposure.day import DayLedger
from triage.knowledge.rules import Family
from triage.plan.air import AirJudge
from triage.plan.barring import bars_without_air
from triage.plan.ladder import barred_by_attempts
from triage.plan.lookparts import (
    Build,
    Inserts,
    Key,
    Local,
    Outlook,
    Parts,
    View,
    Work,
    is_local,
    keep,
    local_of,
    with_values,
)
from triage.plan.ordering import Item, OrderRules, first_item
from triage.plan.outcomes import Progress, Target, condition_target, finding_target
from triage.plan.skeleton import first_closed, now_rungs, queue_of

__all__ = ["Lookahead", "Outlook", "Work", "is_local", "with_values"]


class Lookahead:
    """Gives the outlook of a case and of its variants on one bench and day."""

    def __init__(
        self,
        consultant: Consultant,
        bench: Bench,
        judge: AirJudge | None = None,
        day: DayLedger | None = None,
        *,
        parts: Parts | None = None,
    ) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.bench = bench
        self.judge = judge or AirJudge(self.knowledge, bench, day or DayLedger())
        self.parts = parts or Parts(consultant)
        self._summaries: dict[Key, Summary] = {}
        self._alone: dict[Key, tuple[int, frozenset[str]]] = {}
        self._gates: dict[Key, tuple[Conclusion, ...]] = {}
        self._locals: dict[Key, Local] = {}
        self._queues: dict[Key, tuple[tuple[str, ...], list[Item] | None]] = {}
        self._barred: dict[str, bool] = {}
        self._codes: dict[Key, int] = {}
        self._count = count()
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
        other._codes, other._count = self._codes, self._count
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
        parts = self.parts
        key: Key = (
            finding.key,
            parts.finding_read(finding.fields),
            parts.specimen_read(specimen.fields),
        )
        found = self._summaries.get(key)
        if found is None:
            made = self.parts.reader.finding(finding, specimen, bench)
            found = keep(self._summaries, key, made)
        return found

    def _specimen_alone(self, specimen: Fact, bench: Fact) -> tuple[int, frozenset[str]]:
        key = self.parts.specimen_read(specimen.fields)
        found = self._alone.get(key)
        if found is None:
            whole, conditions = self.parts.reader.specimen((specimen, bench))
            floor = max(whole, self.consultant.floor_of_group(specimen.fields["taxon"]))
            found = keep(self._alone, key, (floor, conditions))
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
                self.parts.specimen_later(specimen.fields),
                floor,
                self._cleaning(views, work),
                states,
            ),
            *[(view.code, max(floor, view.summary.own)) for view in views],
        )
        found = work.seen.get(seen)
        if found is None:
            found = keep(work.seen, seen, self._look(facts, views, floor, states, seen, work))
        return found

    def _view(self, finding: Fact, specimen: Fact, bench: Fact, work: Work) -> View:
        key: Key = (id(finding), id(specimen))
        found = work.views.get(key)
        if found is None:
            summary = self.summary(finding, specimen, bench)
            fields = finding.fields
            code = self._code(finding.key, summary.seen, self.parts.finding_later(fields))
            # The facts are kept beside the view, so that no other fact can take their identity.
            found = keep(work.views, key, View(finding, specimen, summary, code))
        return found

    def _code(self, *values: object) -> int:
        """Return one number for equal values: what later rules see, cheap to compare."""
        code = self._codes.get(values)
        # Numbers are never used twice, so a store that starts anew cannot mix cases up.
        return keep(self._codes, values, next(self._count)) if code is None else code

    def _cleaning(self, views: Sequence[View], work: Work) -> bool:
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
        views: Sequence[View],
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
            rules = OrderRules(
                parts[0].order.apart.union(*[part.order.apart for part in parts[1:]]),
                tuple(pair for part in parts for pair in part.order.across),
            )
            queues = [queue for _, _, queue in ladders if queue]
            first = first_item(self.knowledge, queues, rules)
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
            found = keep(self._gates, key, tuple(dict.fromkeys(gates)))
        return found

    def _local(self, key: Key, indexes: Mapping[Family, RuleIndex], build: Build) -> Local:
        found = self._locals.get(key)
        if found is None:
            found = local_of(indexes, build())
            keep(self._locals, key, found)
        return found

    def _ladders(
        self,
        parts: Sequence[Local],
        views: Sequence[View],
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
                offered = part.offered(view.summary.settled)
                ladder = self._ladder(
                    target, zone, offered, part.own | whole, progress, stage, inserts, work
                )
                keep(self._queues, key, ladder)
            made.append((target.key, *ladder))
        for condition in sorted(states):
            target = condition_target(condition)
            found = [
                part.by_condition[condition] for part in parts if condition in part.by_condition
            ]
            offers = frozenset().union(*found)
            progress, done = work.progress(target)
            rest = target.key in work.closed
            key = (target.key, offers, whole, done, rest, stage, inserts)
            ladder = self._queues.get(key)
            if ladder is None:
                ladder = self._ladder(
                    target, None, set(offers), whole, progress, stage, inserts, work
                )
                keep(self._queues, key, ladder)
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
        inserts: Inserts,
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


def _inserts(parts: Iterable[Local]) -> Inserts:
    found = {key: (methods, first) for part in parts for key, methods, first in part.inserts}
    return tuple(found[key] for key in sorted(found))
