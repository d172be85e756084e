"""The head of the plan for many slightly different cases: what-if at the price of what differs.

Every part is kept under what it rests on, so an answer that no later rule can tell apart costs one
recognition and nothing more. Tests hold each outlook equal to the skeleton that forward chaining
gives for the same changed case.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import TypeVar

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import facts_from
from triage.engine.consult import Consultant, closed_fact
from triage.engine.facts import Fact
from triage.engine.many import Drawing, Extent, Key, Summary, keep, state_fact
from triage.exposure.day import DayLedger
from triage.plan.air import AirJudge
from triage.plan.barring import bars_without_air
from triage.plan.ladder import barred_by_attempts
from triage.plan.lookparts import (
    Front,
    Gates,
    Inserts,
    Local,
    Outlook,
    Parts,
    Seen,
    View,
    Work,
    joined_gates,
    with_values,
)
from triage.plan.ordering import Item, is_whole_act
from triage.plan.outcomes import Progress, Target
from triage.plan.skeleton import first_closed, now_rungs, queue_of

__all__ = ["Lookahead", "Outlook", "Work", "with_values"]

# A ladder: its rungs, and its first step with what decides its turn; no queue where it rests.
Ladder = tuple[tuple[str, ...], Front | None, bool]
Value = TypeVar("Value")


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
        self._left = frozenset(d.id for d in deposits if d.is_left)
        self._grades = tuple(self.knowledge.fragility)
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

    def summary(self, facts: tuple[Fact, ...], finding: str) -> Summary:
        """Return what recognition says about one finding of a case with these facts."""
        fact = next(fact for fact in facts if fact.key == finding)
        reader = self.parts.reader
        return reader.finding(fact, facts[0], facts[1], reader.several(facts))

    # -- the whole outlook ------------------------------------------------------------------

    def outlook(self, facts: tuple[Fact, ...], work: Work) -> Outlook:
        """Return the outlook of a case with these facts and this work behind it.

        Facts come as ``facts_from`` gives them: the specimen, the bench, the findings. The work
        must not be used with another look-ahead: it keeps the outlooks. What was found first for
        a specimen is taken over for each finding that is the same object.
        """
        base = work.bases.get(id(facts[0]))
        if base is None or base.facts[1] is not facts[1] or len(base.facts) != len(facts):
            return keep(work.bases, id(facts[0]), self._seen(facts, work, None)).outlook
        return self._seen(facts, work, base).outlook

    def _seen(self, facts: tuple[Fact, ...], work: Work, base: Seen | None) -> Seen:
        specimen, bench, *findings = facts
        reader, parts = self.parts.reader, self.parts
        several = reader.several(facts)
        before = base if base is not None and several is None else None
        read = [
            before.read[place]
            if before is not None and finding is before.facts[place + 2]
            else reader.finding(finding, specimen, bench, several)
            for place, finding in enumerate(findings)
        ]
        said = [reader.case(specimen, bench), *([several] if several else [])]
        floor = max(
            self.consultant.floor_of_group(specimen.fields["taxon"]),
            *[each.grades.get("", 0) for each in said],
            *[each.whole for each in read],
        )
        states = frozenset().union(
            *[each.conditions for each in said], *[each.conditions for each in read]
        )
        as_recognised = {
            "fragility": self._grades[floor],
            "findings": "some" if findings else "none",
            "cleaning": self._cleaning(findings, read, work),
        }
        case = parts.same(
            parts.derived(specimen, as_recognised), bench, *map(state_fact, sorted(states))
        )
        if base is not None and case is not base.case:
            base = None
        views = [
            base.views[place]
            if base is not None and base.read[place] is each and finding is base.facts[place + 2]
            else parts.view(finding, each, self._grades[max(floor, each.own)])
            for place, (finding, each) in enumerate(zip(findings, read, strict=True))
        ]
        pieces = _drawn(parts.gates, case, views, base, base.pieces if base else ())
        gates = base.gates if base and pieces == base.pieces else joined_gates(pieces)
        closed = parts.same(*case, *map(closed_fact, sorted(gates.stages)))
        if base is not None and closed is not base.closed:
            base = None
        locals_ = _drawn(parts.later, closed, views, base, base.locals if base else ())
        seen = (*map(id, locals_), states, gates, *[each.settled for each in read])
        found = work.seen.get(seen)
        if found is None:
            look = self._look(views, states, gates, locals_, work)
            found = keep(work.seen, seen, (look, locals_))
        return Seen(facts, read, case, closed, views, pieces, gates, locals_, found[0])

    def _cleaning(self, findings: Sequence[Fact], read: Sequence[Summary], work: Work) -> str:
        """Return the state of the cleaning; the same as ``Consultant.derive`` works out."""
        if not findings:
            return "none"
        is_open = any(
            finding.key not in work.closed and each.settled not in self._left
            for finding, each in zip(findings, read, strict=True)
        )
        return "open" if is_open else "done"

    def _look(
        self,
        views: Sequence[View],
        states: frozenset[str],
        gates: Gates,
        locals_: Sequence[Local],
        work: Work,
    ) -> Outlook:
        stage = first_closed(gates.stages)
        ladders = self._all_ladders(locals_, views, states, stage, work)
        first = None
        if not gates.refused and not work.held:
            first = _first([front for _, (_, front, _) in ladders if front is not None], locals_)
        return Outlook(
            step=first.step if first else None,
            method=first.method if first else None,
            target=first.target if first else None,
            stage=stage,
            refused=tuple(sorted(gates.refused)),
            held=work.held,
            gates=tuple(sorted(gates.rules)),
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
        for view, mine in zip(views, locals_[1:], strict=False):
            key, zone = view.finding.key, view.finding.fields["zone"]
            # Of one finding speak the rules about the case, about it, and about several.
            speaking = (locals_[0], mine, *locals_[1 + len(views) :])
            free = 0
            for local in speaking:
                free |= local.offered(key, view.read.settled)
            for local in speaking:
                free &= ~local.own.get(key, 0)
            ladder = self._ladder(work.of_finding(key), zone, free & ~whole, stage, inserts, work)
            made.append((key, ladder))
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
        if progress.harmed or progress.skipped or progress.failed_inserts or progress.last:
            bars = barred_by_attempts(self.knowledge, parts.names(free), progress)
            free &= ~parts.mask(bar.method for bar in bars)
        rungs = parts.names(self._permitted(free))
        if progress.passes:
            rungs = tuple(m for m in rungs if progress.done(m) < methods[m].passes)
        now = now_rungs(self.knowledge, stage, target, rungs, progress, work.closed)
        front = None
        if now:
            front = self._front(queue_of(self.knowledge, inserts, target, zone, now, progress))
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
        mask = self.parts.mask
        whole = [i for i in queue if is_whole_act(self.knowledge, i)]
        act, acts = mask(i.method for i in whole if i is item), mask(i.method for i in whole)
        head, methods = mask([item.method]), mask(i.method for i in queue)
        return Front(item, order, head, methods, act, acts & ~act)

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


def _drawn(
    drawings: Mapping[Extent, Drawing[Value]],
    case: tuple[Fact, ...],
    views: Sequence[View],
    base: Seen | None,
    known: Sequence[Value],
) -> list[Value]:
    """Return what rules conclude for the case, for each finding, and for several at once.

    ``known`` is what they concluded of ``base``, which has the same case.
    """
    of_finding = drawings[Extent.FINDING]
    if base is None:
        found = [drawings[Extent.CASE].of(case)]
        found += [of_finding.of(view.facts, case) for view in views]
    else:
        found = [known[0]]
        found += [
            drawn if view is before else of_finding.of(view.facts, case)
            for view, before, drawn in zip(views, base.views, known[1:], strict=False)
        ]
    if drawings[Extent.SEVERAL].rules:
        found.append(drawings[Extent.SEVERAL].of(case, *[view.facts for view in views]))
    return found


def _inserts(locals_: Iterable[Local]) -> Inserts:
    found = {key: (methods, first) for local in locals_ for key, methods, first in local.inserts}
    return tuple([found[key] for key in sorted(found)])


def _first(fronts: Sequence[Front], locals_: Sequence[Local]) -> Item | None:
    """Return the item that ``arrange`` would put first, None if there is none."""
    if not fronts:
        return None
    apart = frozenset().union(*[local.apart for local in locals_ if local.apart])
    across = [pair for local in locals_ for pair in local.across]
    free = list(_free(fronts, apart, across))
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
        if not (held or front.act) or not any(
            (other.methods & held and other.item.target != front.item.target)
            or other.acts & front.act
            for other in fronts
            if (other.item.zone in apart) == (front.item.zone in apart)
        ):
            yield front
