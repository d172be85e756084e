"""What is to be done in which order: ladders, gates and order of work, without the details.

Enough for what-if questions and for the sweep; ``planner`` completes the steps.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import Locate, nowhere
from triage.engine.consult import Conclusions, Consultant
from triage.engine.many import Drawn, Gates
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.knowledge.specimen import STAGES
from triage.plan.airjudge import AirJudge
from triage.plan.ladder import BenchBars, Ladder, Rulings, recheck, rulings
from triage.plan.ordering import Inserts, Item, OrderRules, arrange, order_rules
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

Key = tuple[object, ...]
Pieces = tuple[Rulings, ...]
DONE = "done"
ORDER: tuple[str, ...] = (*STAGES, DONE)
CLEAN_STAGES = frozenset({"examine", "clean"})


class Head(NamedTuple):
    """What a person would do next; without a step, the stage one waits in."""

    step: str | None
    waits_in: str
    is_refused: bool
    is_held: bool


@dataclass(frozen=True)
class Outline:
    """A plan before its steps are completed: enough for what-if questions and for the sweep.

    ``queues`` hold the steps of each ladder with what must stand before them, None where it rests;
    ``gates`` are the rules that close a stage or refuse the specimen.
    """

    knowledge: Knowledge
    stage: str
    refused: tuple[str, ...]
    held: tuple[str, ...]
    closed: frozenset[str]
    gates: tuple[str, ...]
    ladders: tuple[Ladder, ...]
    queues: tuple[tuple[Item, ...] | None, ...]
    rules: OrderRules

    def ladder(self, target: str) -> Ladder:
        """Return the ladder of a target key."""
        return next(ladder for ladder in self.ladders if ladder.target.key == target)

    def _arranged(self) -> Iterator[Item]:
        waits = self.refused or self.held
        queues = () if waits else [queue for queue in self.queues if queue]
        return arrange(self.knowledge, queues, self.rules)

    @cached_property
    def first(self) -> Item | None:
        """The step to do now; the others are not worked out for it."""
        return next(self._arranged(), None)

    @cached_property
    def items(self) -> tuple[Item, ...]:
        """All steps in order, each trial spot once for its agent and kind of surface."""
        made, seen = [], set()
        for item in self._arranged():
            surface = surface_of(self.knowledge, item.zone)
            if item.inserted and surface and self.knowledge.methods[item.method].tries_next:
                tried = (item.step.rsplit(INSERT, 1)[1], surface)
                if tried in seen:
                    continue
                seen.add(tried)
            made.append(item)
        return tuple(made)

    @cached_property
    def head(self) -> Head:
        """What a person would do next."""
        step = self.first.step if self.first else None
        waits_in = "" if step is not None else self.stage
        return Head(step, waits_in, bool(self.refused), bool(self.held))

    @property
    def standing(self) -> Iterator[Ladder]:
        """The ladders that do not rest, none while nothing may be done."""
        pairs = zip(self.ladders, self.queues, strict=True)
        return (ladder for ladder, queue in pairs if queue is not None)


@dataclass(frozen=True)
class Skeleton(Outline):
    """An outline with the trail behind it."""

    conclusions: Conclusions


class Work:
    """What was tried in a case on one bench; keeps the parts that skeletons of it share."""

    def __init__(self, case: Case, bars: BenchBars) -> None:
        self.case = case
        self.bars = bars
        self.knowledge = bars.knowledge
        self.closed = closed_findings(self.knowledge, case)
        self.held = case.held_by()
        self._targets = [finding_target(finding.id) for finding in case.findings]
        self._progress: dict[str, Progress] = {}
        self._whole: dict[Pieces, frozenset[str]] = {}
        self._rules: dict[Pieces, OrderRules] = {}
        self._ladders: dict[Key, Ladder] = {}
        self._queues: dict[Key, tuple[Item, ...] | None] = {}
        # Of cases that differ in answers only: each outline, and what was seen first with each
        # specimen fact, by its identity.
        self.seen: dict[Key, Outline] = {}
        self.bases: dict[int, tuple[Drawn[Rulings], Outline]] = {}

    def outline(
        self, gates: Gates, settled: Iterable[str | None], states: Iterable[str], pieces: Pieces
    ) -> Outline:
        """Return the outline that follows from what the rules conclude.

        Parameters
        ----------
        settled what each finding is settled to be
        states  of the whole specimen
        pieces  what is said of the case, then of each finding; the rest of several findings
        """
        stage = first_closed(gates.stages)
        ordering = tuple([piece for piece in pieces if piece.orders])
        if ordering not in self._rules:
            self._rules[ordering] = order_rules(c for piece in ordering for c in piece.orders)
        rules = self._rules[ordering]
        # What is said of a finding may keep a method from the whole case.
        wide = tuple([piece for piece in pieces if None in piece.out])
        if wide not in self._whole:
            self._whole[wide] = frozenset[str]().union(*[piece.out[None] for piece in wide])
        case, own, several = pieces[:1], pieces[1:], pieces[1 + len(self.case.findings) :]
        ladders = []
        for place, (finding, problem) in enumerate(zip(self.case.findings, settled, strict=True)):
            said = (*case, *own[place : place + 1], *several)
            ladders.append(self._ladder(self._targets[place], finding.zone, problem, said, wide))
        for state in states:
            target = condition_target(state)
            said = tuple([piece for piece in pieces if target.key in piece.offers])
            ladders.append(self._ladder(target, None, state, said, wide))
        return Outline(
            self.knowledge,
            stage,
            tuple(sorted(gates.refused)),
            self.held,
            self.closed,
            tuple(sorted(gates.rules)),
            tuple(ladders),
            tuple([self._queue(ladder, stage, rules.inserts) for ladder in ladders]),
            rules,
        )

    def _ladder(
        self, target: Target, zone: str | None, problem: str | None, said: Pieces, wide: Pieces
    ) -> Ladder:
        whole = self._whole[wide]
        key = (target.key, problem, said, whole)
        found = self._ladders.get(key)
        if found is None:
            done = self._progress.get(target.key) or progress_of(self.knowledge, self.case, target)
            self._progress[target.key] = done
            found = Ladder(target, zone, problem, done, (*said, *wide), whole, self.bars)
            self._ladders[key] = found
        return found

    def _queue(self, ladder: Ladder, stage: str, inserts: Inserts) -> tuple[Item, ...] | None:
        key = (ladder.target.key, ladder.rungs, stage, inserts)
        if key not in self._queues:
            rungs = now_rungs(self.knowledge, stage, ladder, self.closed)
            queue = None if rungs is None else queue_of(self.knowledge, inserts, ladder, rungs)
            self._queues[key] = queue
        return self._queues[key]


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
        settled = [conclusions.settled(finding.id) for finding in case.findings]
        states = (c.get("condition") for c in conclusions.of(Family.RECOGNISE, "state"))
        families = (Family.FORBID, Family.OFFER, Family.ORDER)
        said = rulings(c for family in families for c in conclusions.of(family))
        outline = Work(case, BenchBars(self.knowledge, bench, judge)).outline(
            Gates.of(conclusions.of(Family.GATE)),
            [reading.deposit if reading else None for reading in settled],
            dict.fromkeys(states),
            (said,),
        )
        return Skeleton(**vars(outline), conclusions=conclusions)


def now_rungs(
    knowledge: Knowledge, stage: str, ladder: Ladder, closed: frozenset[str]
) -> tuple[str, ...] | None:
    """Return the rungs of a ladder that may be worked at this stage, None if it rests."""
    reached, target, rungs = ORDER.index(stage), ladder.target, ladder.rungs
    if ladder.progress.cleared_by or target.key in closed:
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
    knowledge: Knowledge, inserts: Inserts, ladder: Ladder, rungs: Iterable[str]
) -> tuple[Item, ...]:
    """Return the steps of one ladder in order, each with what must stand before it."""
    target, zone, progress = ladder.target, ladder.zone, ladder.progress
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
    return tuple(queue)


def first_closed(closed: AbstractSet[str]) -> str:
    """Return the first stage whose gate is not open, or ``done``."""
    return next((stage for stage in STAGES if stage in closed), DONE)
