"""Put a day's work into an order: list scheduling by a few rules, then small changes that pay.

Each run takes the cases' next tasks by one rule of precedence and puts every task as a whole,
all its visits at once, into the first place where it fits. So nothing that was begun can find
itself without a free hand at its stop time. The best run is then changed a little, again and
again: one task earlier or later in the order, or held back so that it ends where other work
ends. The result stands beside a bound that no order of the same work can beat, so a reader sees
how much could be left to gain.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

import numpy as np

from triage.history.bound import jobs_of, least_end_min
from triage.history.daytypes import (
    DAY_MIN,
    Air,
    Airing,
    DayPlan,
    Entry,
    Hours,
    Later,
    LeftOut,
    Task,
    chains_of,
)
from triage.history.timeline import Spot, Timeline

Rank = Callable[[Task], tuple[float, ...]]
#: visits placed in all runs together: a small day may be searched well, a large one must end
_VISITS_IF_SMALL = 150_000
_VISITS_IF_LARGE = 20_000
_SMALL = 150
#: placing a release means judging the air, which takes as long as so many visits
_VISITS_A_RELEASE = 12
_MOST_RUNS = 1600
_LEAST_RUNS = 6
#: a small day is climbed from several rules, since each may lead to another summit
_CLIMBS = 6
_MANY_RUNS = 400
#: how much longer than the best a day may be to be worked on, at first [fraction]
_WORSE = 0.08
#: marks the begin of a task's last visit among the begins that are held back
_LAST = " last"


@dataclass
class _Run:
    """One order of work while it grows."""

    timeline: Timeline
    placed: list[tuple[Task, Spot]] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    ready: dict[str, int] = field(default_factory=dict)

    def score(self) -> tuple[int, int, int, int]:
        """Return what a better run has less of: steps left out, minutes late, end, sessions."""
        late = sum(_late(task, spot) for task, spot in self.placed)
        return len(self.left_out), late, self.ends_min, self._sessions()

    def _sessions(self) -> int:
        """Return how often another agent is taken up."""
        used = sorted((spot.times[0], task.agent) for task, spot in self.placed if task.put_down)
        return sum(one[1] != two[1] for one, two in pairwise(used))

    @property
    def ends_min(self) -> int:
        return max((end for _, end, _ in self.timeline.busy), default=self.timeline.begins_min)


def plan_day(
    tasks: Sequence[Task],
    hours: Hours,
    air: Air,
    *,
    now_min: int = 0,
    seed: int = 0,
    airings: Sequence[Airing] = (),
    most_runs: int = _MOST_RUNS,
) -> DayPlan:
    """Return what to do today in which order.

    Parameters
    ----------
    tasks     tasks of all cases; those of one case in the order they must keep
    hours     working hours
    air       the air of the day so far
    now_min   present moment [min of the day]; nothing is planned before it
    seed      of the changes that are tried
    airings   airings that earlier work still asks for
    most_runs largest number of changes that are tried from one begin

    Notes
    -----
    Fewest steps left out, then fewest minutes late, then the earliest end. The same input gives
    the same plan.
    """
    chains = chains_of(tasks)

    def start() -> Timeline:
        return Timeline(hours, now_min, air.fresh(), airings)

    random = np.random.default_rng(seed)
    runs = _runs_for(tasks, most_runs)
    first = sorted((_run(chains, rank, {}, start()) for rank in _ranks(tasks, chains)), key=_score)
    best = first[0]
    climbs = _CLIMBS if runs >= _MANY_RUNS else 1
    for number in range(climbs):
        if _is_shortest(best, chains):
            break
        most_changes = 2 + 3 * (number % 2)
        begun = first[number % len(first)]
        climbed = _improved(begun, chains, start, random, (runs, most_changes))
        best = min(best, climbed, key=_score)
    return _plan(best, chains)


def _runs_for(tasks: Sequence[Task], most_runs: int) -> int:
    """Return how many changes to try, so that a large day takes no longer than it may."""
    visits = sum(len(task.visits) + (_VISITS_A_RELEASE if task.put_down else 0) for task in tasks)
    in_all = _VISITS_IF_SMALL if visits <= _SMALL else _VISITS_IF_LARGE
    return min(most_runs, max(_LEAST_RUNS, in_all // max(1, visits)))


def _score(run: _Run) -> tuple[int, int, int, int]:
    return run.score()


def _is_shortest(run: _Run, chains: Mapping[str, Sequence[Task]]) -> bool:
    return not run.left_out and run.ends_min <= _bound(run, chains)


def _improved(
    best: _Run,
    chains: Mapping[str, Sequence[Task]],
    start: Callable[[], Timeline],
    random: np.random.Generator,
    effort: tuple[int, int],
) -> _Run:
    """Return the best of many small changes to a run; ``effort``: how many, most at a time."""
    runs, most_changes = effort
    keys = [_key(task) for chain in chains.values() for task in chain if not task.is_due]
    if len(keys) < 2:
        return best
    order = {_key(task): float(place) for place, (task, _) in enumerate(best.placed)}
    order = {key: order.get(key, float(len(keys))) for key in keys}
    held: dict[str, int] = {}
    here = best
    for number in range(runs):
        new_order, new_held = _changed(here, (order, held), keys, random, most_changes)
        run = _run(chains, _by(new_order), new_held, start())
        # A little worse is taken at first, so that the search does not end on the first summit.
        length = best.ends_min - best.timeline.begins_min
        share = 1.0 - 1.5 * number / runs if runs >= _MANY_RUNS else 0.0
        worse = _WORSE * length * max(0.0, share)
        if _cost(run) <= _cost(here) + worse:
            here, order, held = run, new_order, new_held
        if run.score() < best.score():
            best = run
            if _is_shortest(best, chains):
                break  # no order can be better
    return best


def _cost(run: _Run) -> float:
    left_out, late, ends, _ = run.score()
    return DAY_MIN * 10.0 * left_out + 10.0 * late + ends


def _by(order: Mapping[str, float]) -> Rank:
    return lambda task: (order.get(_key(task), 0.0),)


def _changed(
    best: _Run,
    genes: tuple[Mapping[str, float], Mapping[str, int]],
    keys: Sequence[str],
    random: np.random.Generator,
    most_changes: int,
) -> tuple[dict[str, float], dict[str, int]]:
    """Return order and earliest begins with a few small changes by chance."""
    order, held = dict(genes[0]), dict(genes[1])
    for _ in range(1 + int(random.integers(most_changes))):
        key = keys[int(random.integers(len(keys)))]
        kind = int(random.integers(3))
        if kind == 0:
            order[key] = float(random.uniform(-1.0, len(keys) + 1.0))
        elif kind == 1:
            held.pop(key, None)
            held.pop(key + _LAST, None)
        else:
            held.update(_held_to(best, key, random))
    return order, held


def _held_to(best: _Run, key: str, random: np.random.Generator) -> dict[str, int]:
    """Return a begin for a task at which one of its visits meets the end or begin of other work."""
    found = next(((task, spot) for task, spot in best.placed if _key(task) == key), None)
    if found is None:
        return {}
    task, spot = found
    begin, end, _ = best.timeline.busy[int(random.integers(len(best.timeline.busy)))]
    visit = task.visits[int(random.integers(len(task.visits)))]
    # The visit begins where other work ends, or ends where other work begins.
    moment = end if random.random() < 0.5 else begin - visit.hands_min
    if visit is task.visits[0]:
        return {key: max(moment, 0)}
    latest = min(visit.until_min, DAY_MIN)
    choice = random.random()
    if choice < 0.3:
        return {key + _LAST: max(moment, 0)}
    if choice < 0.6:
        # As late as it may be, or anywhere before: makes room for what must go between.
        wait = latest if choice < 0.45 else int(random.integers(visit.after_min, latest + 1))
        return {key + _LAST: spot.times[0][1] + wait}
    wait = visit.after_min if choice < 0.8 else latest
    return {key: max(moment - task.visits[0].hands_min - wait, 0)}


def _ranks(tasks: Sequence[Task], chains: Mapping[str, Sequence[Task]]) -> Iterator[Rank]:
    """Yield rules of precedence: the task with the least rank goes first."""
    tails = _tails(chains)
    dwell = {_key(task): float(sum(v.after_min for v in task.visits)) for task in tasks}
    agents = sorted({task.agent for task in tasks if task.put_down and task.agent})
    load = {a: sum(tails[_key(t)] for t in tasks if t.agent == a) for a in agents}

    def session(task: Task) -> float:
        return load.get(task.agent or "", 0.0) if task.put_down else 0.0

    # Dry and watery work first, then one agent after the other: sessions are not torn apart.
    yield lambda t: (bool(t.put_down), -session(t), -tails[_key(t)])
    yield lambda t: (-tails[_key(t)],)
    yield lambda t: (-dwell[_key(t)], bool(t.put_down), session(t), -tails[_key(t)])
    yield lambda t: (bool(t.put_down), session(t), tails[_key(t)])
    yield lambda t: (-bool(t.put_down), -session(t), -tails[_key(t)])


def _key(task: Task) -> str:
    return f"{task.case}/{task.step}"


def _tails(chains: Mapping[str, Sequence[Task]]) -> dict[str, float]:
    """Return the least time from each task's begin to the end of its case's day."""
    tails = {}
    for chain in chains.values():
        left = 0.0
        for task in reversed(chain):
            left += task.rest_min + sum(v.hands_min for v in task.visits)
            left += max((v.after_min for v in task.visits), default=0)
            tails[_key(task)] = left
    return tails


def _run(
    chains: Mapping[str, Sequence[Task]], rank: Rank, held: Mapping[str, int], timeline: Timeline
) -> _Run:
    """Return the day that a rule of precedence makes; ``held`` gives begins not to be beaten."""
    run = _Run(timeline)
    waiting = {case: list(chain) for case, chain in chains.items()}
    due = sorted((t for chain in chains.values() for t in chain if t.is_due), key=_urgency)
    for task in due:
        # Work that runs already: first what must be done first, whatever the rule.
        waiting[task.case].remove(task)
        _placed(run, task, timeline.place_due(task, run.ready.get(task.case, 0)))
    heads = [(rank(tasks[0]), case) for case, tasks in waiting.items() if tasks]
    heapq.heapify(heads)
    while heads:
        _, case = heapq.heappop(heads)
        task = waiting[case].pop(0)
        key = _key(task)
        begin = max(run.ready.get(case, 0), held.get(key, 0))
        spot = timeline.find(task, begin, held.get(key + _LAST, 0))
        if isinstance(spot, str):
            run.left_out.append(LeftOut(case, task.step, task.name, spot))
            run.left_out += [LeftOut(case, t.step, t.name, WAITS) for t in waiting[case]]
            continue
        timeline.place(task, spot)
        _placed(run, task, spot)
        if spot.later:
            run.left_out += [LeftOut(case, t.step, t.name, RUNS_ON) for t in waiting[case]]
        elif waiting[case]:
            heapq.heappush(heads, (rank(waiting[case][0]), case))
    return run


WAITS = "it comes after a step that is not done today"
RUNS_ON = "the step before it runs on beyond today"


def _urgency(task: Task) -> tuple[int, int, str, str]:
    return (task.until_min, task.from_min, task.case, task.step)


def _placed(run: _Run, task: Task, spot: Spot) -> None:
    run.placed.append((task, spot))
    run.ready[task.case] = max(run.ready.get(task.case, 0), spot.times[-1][1] + task.rest_min)


def _late(task: Task, spot: Spot) -> int:
    return max(0, spot.times[0][0] - task.until_min) if task.is_due else 0


def _bound(run: _Run, chains: Mapping[str, Sequence[Task]]) -> int:
    """Return the least end of the work that the run placed on today."""
    today = {_key(task): len(spot.times) for task, spot in run.placed}
    begins = run.timeline.begins_min
    jobs = []
    for chain in chains.values():
        done = [task for task in chain if _key(task) in today]
        jobs += jobs_of(done, {task.step: today[_key(task)] for task in done}, begins)
    return max(least_end_min(jobs), begins)


def _plan(run: _Run, chains: Mapping[str, Sequence[Task]]) -> DayPlan:
    entries: list[Entry] = []
    later: list[Later] = []
    for task, spot in run.placed:
        amount = spot.admitted.amount_ml if spot.admitted else None
        for visit, (begin, end) in zip(task.visits, spot.times, strict=False):
            entries.append(
                Entry(
                    begin,
                    end,
                    task.case,
                    task.step,
                    task.name,
                    visit.kind,
                    task.agent,
                    amount if begin == spot.times[0][0] else None,
                    _late(task, spot),
                )
            )
        later += spot.later
    order = lambda e: (e.begin_min, e.case, e.step)
    return DayPlan(
        tuple(sorted(entries, key=order)),
        tuple(sorted(run.timeline.airings, key=lambda a: (a.begin_min, a.agent))),
        tuple(sorted(later, key=lambda e: (e.first_min, e.case, e.step))),
        tuple(run.left_out),
        run.timeline.begins_min,
        run.ends_min,
        _bound(run, chains),
    )
