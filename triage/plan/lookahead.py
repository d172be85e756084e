"""The head of the plan for many slightly different cases: what-if at the price of what differs.

The rules are joined finding by finding, as bits, and every part is kept under what it rests on,
so an answer that no later rule can tell apart costs one recognition and nothing more. Tests hold
each outlook equal to the skeleton that forward chaining gives for the same changed case.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from functools import cache

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import facts_from
from triage.engine.consult import LEFT_ALONE, Consultant
from triage.engine.facts import Conclusion, Fact, sorted_conclusions
from triage.engine.quickread import Summary
from triage.exposure.day import DayLedger
from triage.plan.air import AirJudge
from triage.plan.barring import bars_without_air
from triage.plan.ladder import barred_by_attempts
from triage.plan.lookparts import (
    Front,
    Inserts,
    Key,
    Local,
    Outlook,
    Parts,
    View,
    Work,
    is_local,
    keep,
    reading_facts,
    with_values,
)
from triage.plan.ordering import Item
from triage.plan.outcomes import Progress, Target
from triage.plan.skeleton import first_closed, now_rungs, queue_of

__all__ = ["Lookahead", "Outlook", "Work", "is_local", "with_values"]

# A ladder: its rungs, and its first step with what decides its turn; no queue where it rests.
Ladder = tuple[tuple[str, ...], Front | None, bool]
# Findings seen lately; the sweep of one case goes through them in order.
VIEWS = 512


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
        deposits = self.knowledge.deposits.values()
        self._left = frozenset(d.id for d in deposits if d.guard in LEFT_ALONE)
        self._ladders: dict[Key, Ladder] = {}
        # Methods that the bench was asked about, and those that it rules out, as bits.
        self._asked = 0
        self._barred = 0

    def on_bench(self, bench: Bench) -> Lookahead:
        """Return the look-ahead on another bench; what the bench cannot change is shared."""
        return Lookahead(self.consultant, bench, self.judge.beside(bench), parts=self.parts)

    def facts(self, case: Case) -> tuple[Fact, ...]:
        """Return the facts of a case on this bench, to be varied with ``with_values``."""
        return facts_from(case, self.bench, self.consultant.vocabulary)

    def of_case(self, case: Case) -> Outlook:
        """Return the outlook of a case as it stands."""
        return self.outlook(self.facts(case), Work(self.knowledge, case))

    def summary(self, finding: Fact, specimen: Fact, bench: Fact) -> Summary:
        """Return what recognition says about one finding of a specimen."""
        return self.parts.reader.finding(finding, specimen, bench)

    # -- the whole outlook ------------------------------------------------------------------

    def outlook(self, facts: tuple[Fact, ...], work: Work) -> Outlook:
        """Return the outlook of a case with these facts and this work behind it.

        Facts come as ``facts_from`` gives them: the specimen, the bench, the findings. The work
        must not be used with another look-ahead: it keeps the outlooks.
        """
        specimen, bench, *findings = facts
        parts = self.parts
        floor, states = parts.reader.specimen(specimen, bench)
        floor = max(floor, self.consultant.floor_of_group(specimen.fields["taxon"]))
        views = [self._view(finding, specimen, bench, work) for finding in findings]
        for view in views:
            floor = max(floor, view.summary.whole)
            if view.summary.conditions:
                states |= view.summary.conditions
        cleaning = self._cleaning(views, work)
        whole = parts.of_specimen(specimen, floor, cleaning, states, bool(views))
        whole &= parts.bench.of_fact(bench)
        grades = parts.fragile_finding
        passed = [
            view.bits & grades[max(floor, view.summary.own)] & whole & parts.of_finding
            for view in views
        ]
        seen = (whole, states, *passed, *[view.place for view in views])
        if parts.flat.rest:
            # Rules that are joined read what the bits do not tell.
            seen = (*seen, *[tuple(fact.fields.items()) for fact in facts])
        found = work.seen.get(seen)
        if found is None:
            joined = self._joining(facts, views, floor, states, work)
            found = self._look(views, whole, passed, states, joined, work)
            keep(work.seen, seen, found)
        return found

    def _view(self, finding: Fact, specimen: Fact, bench: Fact, work: Work) -> View:
        key: Key = (id(finding), id(specimen))
        found = work.views.get(key)
        if found is None:
            summary = self.summary(finding, specimen, bench)
            bits = self.parts.of_view(finding, summary)
            place = (finding.key, finding.fields["zone"], summary.settled)
            if len(work.views) >= VIEWS:
                work.views.clear()
            # The facts are kept beside the view, so that no other fact can take their identity.
            found = work.views[key] = View(finding, specimen, summary, bits, place)
        return found

    def _cleaning(self, views: Sequence[View], work: Work) -> str:
        """Return the state of the cleaning; the same as ``Consultant.derive`` works out."""
        if not views:
            return "none"
        is_open = any(
            view.finding.key not in work.closed and view.summary.settled not in self._left
            for view in views
        )
        return "open" if is_open else "done"

    def _look(
        self,
        views: Sequence[View],
        whole: int,
        passed: Sequence[int],
        states: frozenset[str],
        joined: Joining,
        work: Work,
    ) -> Outlook:
        parts, flat = self.parts, self.parts.flat
        case = whole & parts.of_case
        shut = 0
        for bits in (case, *passed):
            shut |= flat.fired(bits & parts.of_gate)
        gates = parts.gates(shut, joined.gates())
        stage = first_closed(gates.stages)
        later = parts.of_stages(gates.stages) & ~parts.of_gate
        locals_ = [parts.local(flat.fired(case & later), "", joined.later(None, gates.stages))]
        for place, (view, bits) in enumerate(zip(views, passed, strict=True)):
            fired, said = flat.fired(bits & later), joined.later(place, gates.stages)
            locals_.append(parts.local(fired, view.place[1], said))
        ladders = self._all_ladders(locals_, views, states, stage, work)
        first = None
        if not gates.refused and not work.held:
            first = _first([front for _, (_, front, _) in ladders if front is not None], locals_)
        return Outlook(
            step=first.step if first else None,
            method=first.method if first else None,
            target=first.target if first else None,
            stage=stage,
            refused=gates.refused,
            held=work.held,
            gates=gates.rules,
            rungs=tuple([(key, rungs) for key, (rungs, _, stands) in ladders if stands]),
        )

    # -- ladders ----------------------------------------------------------------------------

    def _all_ladders(
        self,
        locals_: Sequence[Local],
        views: Sequence[View],
        states: frozenset[str],
        stage: str,
        work: Work,
    ) -> list[tuple[str, Ladder]]:
        whole = 0
        for local in locals_:
            whole |= local.whole
        inserts = _inserts(locals_)
        made: list[tuple[str, Ladder]] = []
        for view, local in zip(views, locals_[1:], strict=True):
            finding, zone, settled = view.place
            free = local.offered(settled) & ~(local.own | whole)
            ladder = self._ladder(work.of_finding(finding), zone, free, stage, inserts, work)
            made.append((finding, ladder))
        for condition in sorted(states):
            tried = work.of_condition(condition)
            offered = 0
            for local in locals_:
                offered |= local.by_condition.get(condition, 0)
            ladder = self._ladder(tried, None, offered & ~whole, stage, inserts, work)
            made.append((tried[0].key, ladder))
        return made

    def _ladder(
        self,
        tried: tuple[Target, Progress, Key],
        zone: str | None,
        free: int,
        stage: str,
        inserts: Inserts,
        work: Work,
    ) -> Ladder:
        """Return the ladder of a target from the methods that no rule keeps from it."""
        target, progress, done = tried
        key: Key = (target.key, zone, free, done, stage, inserts)
        found = self._ladders.get(key)
        if found is not None:
            return found
        parts, methods = self.parts, self.knowledge.methods
        if progress.harmed or progress.skipped or progress.failed_inserts:
            bars = barred_by_attempts(self.knowledge, parts.names(free), progress)
            free &= ~parts.mask(bar.method for bar in bars)
        rungs = parts.names(self._permitted(free))
        if progress.passes:
            rungs = tuple(m for m in rungs if progress.done(m) < methods[m].passes)
        now = now_rungs(self.knowledge, stage, target, rungs, progress, work.closed)
        front = None
        if now:
            front = self._front(
                queue_of(self.knowledge, inserts, target, zone, now, progress.inserts)
            )
        return keep(self._ladders, key, (rungs, front, now is not None))

    def _front(self, queue: Sequence[Item]) -> Front:
        item = queue[0]
        zone = self.knowledge.zones.get(item.zone or "")
        order = (
            self.parts.wet[item.method],
            zone.rank if zone else 0,
            item.target,
            item.rung,
            item.step,
        )
        bit = self.parts.bit
        return Front(item, order, bit[item.method], self.parts.mask(i.method for i in queue))

    def _permitted(self, methods: int) -> int:
        """Return those of some methods that the bench and its air permit."""
        new = methods & ~self._asked
        if new:
            names = self.parts.names(new)
            bars = {bar.method for bar in bars_without_air(self.knowledge, self.bench, names)}
            entries = self.knowledge.methods
            barred = [m for m in names if m in bars or not self.judge.permits(entries[m])]
            self._barred |= self.parts.mask(barred)
            self._asked |= new
        return methods & ~self._barred

    # -- rules that must be joined ----------------------------------------------------------

    def _joining(
        self,
        facts: tuple[Fact, ...],
        views: Sequence[View],
        floor: int,
        states: frozenset[str],
        work: Work,
    ) -> Joining:
        @cache
        def derived() -> tuple[Fact, ...]:
            floors = {"": floor} | {view.finding.key: view.summary.own for view in views}
            settled = {v.finding.key: v.summary.settled for v in views if v.summary.settled}
            return self.consultant.derive(facts, floors, settled, (), states, work.closed)

        def about(place: int | None) -> tuple[Fact, ...]:
            behind = 2 + len(views)
            case = (*derived()[:2], *derived()[behind:])
            if place is None:
                return case
            view = views[place]
            return (*case, derived()[2 + place], *reading_facts(view.finding, view.summary))

        return Joining(self.parts, len(views), about)


class Joining:
    """What the rules conclude that must be joined; the usual rulebase has none."""

    def __init__(
        self, parts: Parts, count: int, about: Callable[[int | None], tuple[Fact, ...]]
    ) -> None:
        self.parts = parts
        self.count = count
        self.about = about

    def _drawn(self, place: int | None, more: tuple[Fact, ...], *, gate: bool) -> set[Conclusion]:
        index = self.parts.rest[gate, place is not None]
        return set(index.drawn_unsorted((*self.about(place), *more))) if index.compiled else set()

    def gates(self) -> tuple[Conclusion, ...]:
        """Return what the gates among them conclude."""
        if not self.parts.flat.rest:
            return ()
        found: set[Conclusion] = set()
        for place in (None, *range(self.count)):
            found |= self._drawn(place, (), gate=True)
        return sorted_conclusions(found)

    def later(self, place: int | None, stages: frozenset[str]) -> tuple[Conclusion, ...]:
        """Return what the later ones conclude for a finding, or for the specimen alone."""
        if not self.parts.flat.rest:
            return ()
        closed = tuple(Fact("closed", name, {"stage": name}) for name in sorted(stages))
        return sorted_conclusions(self._drawn(place, closed, gate=False))


def _inserts(locals_: Iterable[Local]) -> Inserts:
    found = {key: (methods, first) for local in locals_ for key, methods, first in local.inserts}
    return tuple([found[key] for key in sorted(found)])


def _first(fronts: Sequence[Front], locals_: Sequence[Local]) -> Item | None:
    """Return the item that ``arrange`` would put first, None if there is none."""
    if not fronts:
        return None
    apart = frozenset().union(*[local.apart for local in locals_ if local.apart])
    across = [pair for local in locals_ for pair in local.across]
    free = list(_free(fronts, apart, across)) if across else fronts
    chosen = min(free or fronts, key=lambda front: (front.item.zone in apart, front.order))
    return chosen.item


def _free(
    fronts: Sequence[Front], apart: frozenset[str], across: Sequence[tuple[int, int]]
) -> Iterator[Front]:
    """Yield the heads that need not wait for what another ladder must do before."""
    for front in fronts:
        held = 0
        for earlier, later in across:
            if front.head & later:
                held |= earlier
        if not held or not any(
            other.methods & held
            and other.item.target != front.item.target
            and (other.item.zone in apart) == (front.item.zone in apart)
            for other in fronts
        ):
            yield front
