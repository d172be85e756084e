"""Put a day's work into an order: list scheduling by a few rules, then small changes that pay.

Each run takes the cases' next tasks by one rule of precedence and puts every task as a whole,
all its visits at once, into the first place where it fits. So nothing that was begun can find
itself without a free hand at its stop time. The best run is then changed a little, again and
again: one task earlier or later in the order, beside others of its agent, or one visit held back
so that it meets other work. How near such a day comes to the shortest is measured in the tests,
where every order of small days is considered.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from triage.history.daytypes import (
    DAY_MIN,
    Admitted,
    Air,
    DayPlan,
    Entry,
    LeftOut,
    PutDown,
    Task,
    chains_of,
)
from triage.history.timeline import Held, Spot, Timeline

WAITS = "it comes after a step that is not done today"
RUNS_ON = "the step before it runs on beyond today"
#: changes tried, and visits placed in all of them, so that a large day takes no longer than it may
_MOST_CHANGES = 4000
_VISITS = 100_000
#: how much longer than the best a day may be to be worked on, at first [fraction of its length]
_WORSE = 0.08
Chains = Mapping[str, Sequence[Task]]
Rank = Callable[[Task], tuple[float, ...]]
#: place of each task in the order of work, and what is held back of it
Order = tuple[dict[str, float], dict[str, Held]]


@dataclass
class Run:
    """One order of work while it grows."""

    timeline: Timeline
    placed: list[tuple[Task, Spot]] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    ready: dict[str, int] = field(default_factory=dict)

    def score(self) -> tuple[int, int, int, int]:
        """Return what a better run has less of: steps left out, minutes late, end, sessions."""
        late = sum(_late_min(task, spot) for task, spot in self.placed)
        used = sorted((spot.times[0], task.agent) for task, spot in self.placed if task.put_down)
        taken_up = sum(one[1] != two[1] for one, two in pairwise(used))
        return len(self.left_out), late, self.ends_min, taken_up

    @property
    def ends_min(self) -> int:
        """End of the last work [min of the day]."""
        return max((end for _, end, _ in self.timeline.busy), default=self.timeline.begins_min)

    def is_gapless(self) -> bool:
        """Return whether nothing could end earlier: all is done, in one go."""
        work = sum(end - begin for begin, end, _ in self.timeline.busy)
        return not self.left_out and work == self.ends_min - self.timeline.begins_min

    def take(self, task: Task, spot: Spot) -> None:
        """Take a place that was found; the case is ready again after its rest."""
        self.placed.append((task, spot))
        ends = spot.times[-1][1] + task.rest_min
        self.ready[task.case] = max(self.ready.get(task.case, 0), ends)

    def leave_out(self, tasks: Sequence[Task], because: str) -> None:
        """Leave steps for another day."""
        self.left_out += [LeftOut(t.case, t.step, t.name, because) for t in tasks]


def plan_day(
    tasks: Sequence[Task], begun: Timeline, *, seed: int = 0, most_changes: int = _MOST_CHANGES
) -> DayPlan:
    """Return what to do today in which order.

    Parameters
    ----------
    tasks        tasks of all cases; those of one case in the order they must keep
    begun        the day on which nothing is placed yet
    seed         of the changes that are tried
    most_changes largest number of changes that are tried

    Notes
    -----
    Fewest steps left out, then fewest minutes late, then the earliest end. The same input gives
    the same plan.
    """
    chains = chains_of(tasks)

    def run(rank: Rank, held: Mapping[str, Held], air: Air = begun.air) -> Run:
        return _run_by(chains, rank, held, begun.anew(air))

    best = min((run(rank, {}) for rank in _ranks(chains)), key=Run.score)
    # Judging the air takes long: the changes are tried on what it allowed, the best one is judged.
    guess = _AirAsBefore({t.put_down: s.admitted for t, s in best.placed if t.put_down})
    changes = min(most_changes, _VISITS // max(1, sum(len(task.visits) for task in tasks)))
    free = [task for task in tasks if not task.is_due]
    if len(free) > 1 and changes and not best.is_gapless():
        random = np.random.default_rng(seed)
        places, held = _changed_for_good(
            best, free, changes, random, lambda o: run(_by(o[0]), o[1], guess)
        )
        best = min(best, run(_by(places), held), key=Run.score)
    return _plan(best)


def _run_by(chains: Chains, rank: Rank, held: Mapping[str, Held], timeline: Timeline) -> Run:
    """Return the day that a rule of precedence makes: the task with the least rank goes first."""
    run = Run(timeline)
    waiting = {case: list(chain) for case, chain in chains.items()}
    due = (t for chain in chains.values() for t in chain if t.is_due)
    for task in sorted(due, key=lambda t: (t.until_min, t.from_min, t.case, t.step)):
        # Work that runs already: first what must be done first, whatever the rule.
        waiting[task.case].remove(task)
        run.take(task, timeline.place_due(task, run.ready.get(task.case, 0)))
    heads = [(rank(tasks[0]), case) for case, tasks in waiting.items() if tasks]
    heapq.heapify(heads)
    while heads:
        _, case = heapq.heappop(heads)
        task = waiting[case].pop(0)
        spot = timeline.find(task, run.ready.get(case, 0), held.get(_key_of(task), {}))
        if isinstance(spot, str):
            run.leave_out([task], spot)
            run.leave_out(waiting[case], WAITS)
            continue
        timeline.place(task, spot)
        run.take(task, spot)
        if spot.later:
            run.leave_out(waiting[case], RUNS_ON)
        elif waiting[case]:
            heapq.heappush(heads, (rank(waiting[case][0]), case))
    return run


def _key_of(task: Task) -> str:
    return f"{task.case}/{task.step}"


def _late_min(task: Task, spot: Spot) -> int:
    """Return how long after its stop time a due task begins [min]."""
    return max(0, spot.times[0][0] - task.until_min) if task.is_due else 0


def _by(places: Mapping[str, float]) -> Rank:
    return lambda task: (places.get(_key_of(task), np.inf),)


def _ranks(chains: Chains) -> Iterator[Rank]:
    tasks = [task for chain in chains.values() for task in chain]
    # The least time from each task's begin to the end of its case's day.
    tails: dict[str, float] = {}
    for chain in chains.values():
        left = 0.0
        for task in reversed(chain):
            left += task.rest_min + sum(v.hands_min for v in task.visits)
            left += max((v.after_min for v in task.visits), default=0)
            tails[_key_of(task)] = left
    agents = {task.agent for task in tasks if task.put_down and task.agent}
    load = {a: sum(tails[_key_of(t)] for t in tasks if t.agent == a) for a in agents}

    def tail(task: Task) -> float:
        return tails[_key_of(task)]

    def session(task: Task) -> float:
        return load.get(task.agent or "", 0.0) if task.put_down else 0.0

    def dwell(task: Task) -> float:
        return float(sum(visit.after_min for visit in task.visits))

    # Dry and watery work first, then one agent after the other: sessions are not torn apart.
    yield lambda t: (bool(t.put_down), -session(t), -tail(t))
    yield lambda t: (-tail(t),)
    yield lambda t: (-dwell(t), bool(t.put_down), session(t), -tail(t))
    yield lambda t: (bool(t.put_down), session(t), tail(t))
    yield lambda t: (-bool(t.put_down), -session(t), -tail(t))


@dataclass(frozen=True)
class _AirAsBefore:
    """The air of a run taken as known: each release gets what such a one got there."""

    known: Mapping[PutDown | None, Admitted | None]

    def admit(self, put_down: PutDown, minute: int) -> Admitted:
        del minute
        return self.known.get(put_down) or Admitted(0.0, 0, "air: as before")

    def record(self, put_down: PutDown, minute: int, amount_ml: float) -> None:
        pass

    def airing_min(self, agent: str, minute: int) -> int:
        del agent, minute
        return 0  # work that runs already is placed before any release

    def fresh(self) -> _AirAsBefore:
        return self


def _changed_for_good(
    begun: Run,
    tasks: Sequence[Task],
    changes: int,
    random: np.random.Generator,
    run: Callable[[Order], Run],
) -> Order:
    """Return the best order among many that small changes by chance make.

    A little worse is taken at first, so that the search does not end on the first summit.
    """
    keys = [_key_of(t) for t, _ in begun.placed] + [f"{e.case}/{e.step}" for e in begun.left_out]
    order: Order = ({key: float(place) for place, key in enumerate(keys)}, {})
    found = order
    here = best = run(order)
    length = begun.ends_min - begun.timeline.begins_min
    for number in range(changes):
        new = _changed(order, here, tasks, random)
        tried = run(new)
        allowed = _WORSE * length * max(0.0, 1.0 - 1.5 * number / changes) ** 2
        if _cost(tried) <= _cost(here) + allowed:
            here, order = tried, new
        if tried.score() < best.score():
            best, found = tried, new
    return found


def _cost(run: Run) -> float:
    left_out, late, ends, _ = run.score()
    return DAY_MIN * 10.0 * left_out + 10.0 * late + ends


def _changed(order: Order, run: Run, tasks: Sequence[Task], random: np.random.Generator) -> Order:
    """Return an order with a few changes; ``run`` is the day it makes now."""
    places, held = dict(order[0]), dict(order[1])
    for _ in range(1 + int(random.integers(5))):
        task = tasks[int(random.integers(len(tasks)))]
        key, kind = _key_of(task), float(random.random())
        if kind < 0.3:
            places[key] = float(random.uniform(-1.0, len(tasks) + 1.0))
        elif kind < 0.5:
            # Beside another step of its agent, so that they form one session.
            same = [_key_of(each) for each in tasks if each.agent == task.agent]
            other = same[int(random.integers(len(same)))]
            places[key] = places.get(other, 0.0) + float(random.uniform(-0.5, 0.5))
        elif kind < 0.7:
            held.pop(key, None)
        elif run.timeline.busy:
            held[key] = {**held.get(key, {}), **_held(task, run, random)}
    return places, held


def _held(task: Task, run: Run, random: np.random.Generator) -> Held:
    """Return which visit of a task is held back until when: so that one of them meets other work.

    A visit begins where other work ends, or ends where other work begins. It is held back itself,
    or the first visit is, so that this one comes as soon or as late as it may.
    """
    begin, end, _ = run.timeline.busy[int(random.integers(len(run.timeline.busy)))]
    place = int(random.integers(len(task.visits)))
    visit = task.visits[place]
    moment = end if random.random() < 0.5 else begin - visit.hands_min
    if place and random.random() < 0.6:
        wait = visit.after_min if random.random() < 0.5 else min(visit.until_min, DAY_MIN)
        return {0: moment - task.visits[0].hands_min - wait}
    return {place: moment}


def _plan(run: Run) -> DayPlan:
    entries = [
        Entry(
            begin,
            end,
            task.case,
            task.step,
            task.name,
            visit.kind,
            task.agent,
            spot.admitted.amount_ml if spot.admitted and begin == spot.times[0][0] else None,
            _late_min(task, spot),
        )
        for task, spot in run.placed
        for visit, (begin, end) in zip(task.visits, spot.times, strict=False)
    ]
    later = [each for _, spot in run.placed for each in spot.later]
    return DayPlan(
        tuple(sorted(entries, key=lambda e: (e.begin_min, e.case, e.step))),
        tuple(sorted(run.timeline.airings, key=lambda a: (a.begin_min, a.agent))),
        tuple(sorted(later, key=lambda e: (e.first_min, e.case, e.step))),
        tuple(run.left_out),
        run.timeline.begins_min,
        run.ends_min,
    )
