"""What is to be done in which order: ladders, gates and order of work, without the details.

Enough for what-if questions and for the sweep; ``planner`` completes the steps.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import Locate, nowhere
from triage.engine.consult import Conclusions, Consultant
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.knowledge.specimen import STAGES
from triage.plan.air import AirJudge
from triage.plan.barring import bench_bars
from triage.plan.ladder import (
    Ladder,
    build_ladder,
    forbidden,
    offers_for,
    passed_over,
    recheck,
)
from triage.plan.ordering import Item, arrange
from triage.plan.outcomes import (
    INSERT,
    Progress,
    Target,
    closed_findings,
    condition_target,
    finding_target,
    insert_id,
    progress_of,
    step_id,
    surface_of,
)

DONE = "done"
ORDER: tuple[str, ...] = (*STAGES, DONE)
CLEAN_STAGES = frozenset({"examine", "clean"})


@dataclass(frozen=True)
class Skeleton:
    """A plan before its steps are completed: enough for what-if questions and for the sweep."""

    conclusions: Conclusions
    stage: str
    refused: tuple[str, ...]
    ladders: tuple[Ladder, ...]
    items: tuple[Item, ...]
    closed: frozenset[str]
    held: tuple[str, ...]

    def ladder(self, target: str) -> Ladder:
        """Return the ladder of a target key."""
        return next(ladder for ladder in self.ladders if ladder.target.key == target)


class SkeletonMaker:
    """Makes the skeleton of a plan with one compiled rulebase."""

    def __init__(self, consultant: Consultant) -> None:
        self.consultant = consultant
        self.knowledge: Knowledge = consultant.knowledge

    def skeleton(
        self,
        case: Case,
        bench: Bench,
        judge: AirJudge,
        *,
        locate: Locate = nowhere,
        plain: bool = False,
    ) -> Skeleton:
        """Return what is to be done in which order, without the details of each step."""
        closed = closed_findings(self.knowledge, case)
        conclusions = self.consultant.consult(case, bench, closed, locate=locate, plain=plain)
        made = self.from_conclusions(case, bench, judge, conclusions)
        if not plain:
            # Second lock: the interlocks are worked out again by a different evaluator.
            second = self.consultant.run_unindexed(Family.FORBID, conclusions.facts)
            recheck(made.ladders, second)
        return made

    def from_conclusions(
        self, case: Case, bench: Bench, judge: AirJudge, conclusions: Conclusions
    ) -> Skeleton:
        """Return the skeleton that follows from conclusions already drawn about a case."""
        closed = closed_findings(self.knowledge, case)
        stage = first_closed({c.get("stage") for c in conclusions.of(Family.GATE, "close")})
        refused = tuple(dict.fromkeys(c.rule for c in conclusions.of(Family.GATE, "refuse")))
        ladders = tuple(self._ladders(case, bench, judge, conclusions))
        held = case.held_by()
        waits = bool(refused or held)
        queues = [] if waits else list(self._queues(conclusions, ladders, stage, closed))
        items = self._tried_once(arrange(self.knowledge, queues, conclusions.of(Family.ORDER)))
        return Skeleton(conclusions, stage, refused, ladders, items, closed, held)

    def _tried_once(self, items: Sequence[Item]) -> tuple[Item, ...]:
        """Return the items with each trial spot once for its agent and kind of surface."""
        made, seen = [], set()
        for item in items:
            surface = surface_of(self.knowledge, item.zone)
            if item.inserted and surface and self.knowledge.methods[item.method].tries_next:
                tried = (item.step.rsplit(INSERT, 1)[1], surface)
                if tried in seen:
                    continue
                seen.add(tried)
            made.append(item)
        return tuple(made)

    def _ladders(
        self, case: Case, bench: Bench, judge: AirJudge, conclusions: Conclusions
    ) -> Iterator[Ladder]:
        """Yield the ladder of each finding, then of each state of the whole specimen."""
        knowledge = self.knowledge
        targets: list[tuple[Target, str | None, str | None]] = []
        for finding in case.findings:
            settled = conclusions.settled(finding.id)
            problem = settled.deposit if settled else None
            targets.append((finding_target(finding.id), finding.zone, problem))
        states = (c.get("condition") for c in conclusions.of(Family.RECOGNISE, "state"))
        targets += [(condition_target(state), None, state) for state in dict.fromkeys(states)]
        for target, zone, problem in targets:
            offered = offers_for(conclusions, target, problem)
            barred = forbidden(conclusions.of(Family.FORBID), target, knowledge)
            barred += passed_over(conclusions, target, knowledge)
            barred += bench_bars(knowledge, bench, offered, judge)
            progress = progress_of(knowledge, case, target)
            yield build_ladder(knowledge, target, zone, problem, offered, barred, progress)

    def _queues(
        self,
        conclusions: Conclusions,
        ladders: Sequence[Ladder],
        stage: str,
        closed: frozenset[str],
    ) -> Iterator[list[Item]]:
        inserts = [
            (frozenset(c.get("method")), c.get("first"))
            for c in conclusions.of(Family.ORDER, "insert")
        ]
        for each in ladders:
            done = each.progress
            rungs = now_rungs(self.knowledge, stage, each.target, each.rungs, done, closed)
            if rungs is not None:
                where = (each.target, each.zone)
                yield queue_of(self.knowledge, inserts, *where, rungs, done)


def now_rungs(
    knowledge: Knowledge,
    stage: str,
    target: Target,
    rungs: tuple[str, ...],
    progress: Progress,
    closed: frozenset[str],
) -> tuple[str, ...] | None:
    """Return the rungs of a ladder that may be worked at this stage, None if it rests."""
    reached = ORDER.index(stage)
    if progress.cleared_by or target.key in closed:
        return None
    if target.condition is not None:
        # Work on a state of the specimen belongs to its own stage; a mere look to later ones too.
        own = ORDER.index(knowledge.conditions[target.condition].stage)
        looks = own < reached < ORDER.index("keep")
        harmless = looks and all(knowledge.methods[rung].harmless for rung in rungs)
        return rungs if own == reached or harmless else None
    if reached > ORDER.index("clean"):
        return None
    if stage not in CLEAN_STAGES:
        # Behind a closed gate only air and dry tools, and not before intake is passed.
        return tuple(m for m in rungs if reached > 0 and knowledge.methods[m].while_dry)
    return rungs


def queue_of(
    knowledge: Knowledge,
    inserts: Sequence[tuple[frozenset[str], str]],
    target: Target,
    zone: str | None,
    rungs: Iterable[str],
    progress: Progress,
) -> list[Item]:
    """Return the steps of one ladder in order, each with what must stand before it."""
    # A whole pass without harm makes the trial spot of its agent needless.
    done = progress.inserts | {
        insert_id(target, first, agent)
        for method in (progress.passes.keys() - progress.harmed) & knowledge.methods.keys()
        for agent in agent_ids(knowledge, method)
        for methods, first in inserts
        if method in methods and knowledge.methods[first].tries_next
    }
    queue: list[Item] = []
    seen: set[str] = set()
    for place, method in enumerate(rungs, start=1):
        agents = agent_ids(knowledge, method)
        what = agents[0] if agents else method
        for methods, first in inserts:
            inserted = insert_id(target, first, what)
            if method in methods and inserted not in done | seen:
                seen.add(inserted)
                queue.append(Item(inserted, target.key, zone, first, place, before=method))
        queue.append(Item(step_id(target, method), target.key, zone, method, place))
    return queue


def first_closed(closed: AbstractSet[str]) -> str:
    """Return the first stage whose gate is not open, or ``done``."""
    return next((stage for stage in STAGES if stage in closed), DONE)
