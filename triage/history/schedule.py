"""Put a day's work into an order: list scheduling by a few rules, then small changes that pay.

Each run takes the cases' next tasks by one rule of precedence and puts every task as a whole,
all its visits at once, into the first place where it fits. So nothing that was begun can find
itself without a free hand at its stop time. The best run is then changed a little, again and
again: one task earlier or later in the order, beside others of its agent, or held back so that it
ends where other work ends. The result stands beside a bound that no order of the same work can
beat: all hands-on time or the longest case. So a reader sees how much could be left to gain.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence

import numpy as np

from triage.history.climb import Start, air_of, genes_of, improved
from triage.history.daytypes import Air, Airing, DayPlan, Entry, Hours, Later, Task, chains_of
from triage.history.daywork import Chains, Rank, Run, key_of, late_min, run_by, score_of
from triage.history.timeline import Timeline

#: visits placed in all changes together, so that a large day takes no longer than it may
_VISITS = 150_000
_MOST_RUNS = 6000
#: rounds of changes; after each, the best day is made again on the true air
_ROUNDS = 6


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
    most_runs largest number of changes that are tried

    Notes
    -----
    Fewest steps left out, then fewest minutes late, then the earliest end. The same input gives
    the same plan.
    """
    return _Day(chains_of(tasks), hours, air, now_min, airings).plan(seed, most_runs)


class _Day:
    """The work of one day, and where it can begin."""

    def __init__(
        self, chains: Chains, hours: Hours, air: Air, now_min: int, airings: Sequence[Airing]
    ) -> None:
        self.chains = chains
        self.start: Start = lambda: Timeline(hours, now_min, air.fresh(), airings)
        self.start_with: Callable[[Air], Start] = lambda other: (
            lambda: Timeline(hours, now_min, other.fresh(), airings)
        )

    def plan(self, seed: int, most_runs: int) -> DayPlan:
        """Return the best day that is found."""
        random = np.random.default_rng(seed)
        ranks = _ranks(self.chains)
        first = sorted((run_by(self.chains, r, {}, self.start()) for r in ranks), key=score_of)
        best = first[0]
        genes = [genes_of(run) for run in first]
        runs = self._runs(most_runs)
        for number in range(min(_ROUNDS, runs)):
            if self._is_shortest(best):
                break
            guess = self.start_with(air_of(best, self.chains))
            effort = max(1, runs // _ROUNDS), 2 + 3 * (number % 2)
            better = improved(
                genes[0 if number % 2 else number // 2 % len(genes)],
                self.chains, guess, random, effort, self._is_shortest,
            )  # fmt: skip
            run = better.run(self.chains, self.start)
            if run.score() < best.score():
                best = run
                genes.insert(0, better)
        return _plan(best, self._bound(best))

    def _runs(self, most_runs: int) -> int:
        visits = sum(len(task.visits) for chain in self.chains.values() for task in chain)
        return min(most_runs, _VISITS // max(1, visits))

    def _is_shortest(self, run: Run) -> bool:
        return not run.left_out and run.ends_min <= self._bound(run)

    def _bound(self, run: Run) -> int:
        """Return a minute before which no order of what the run placed on today can end."""
        today = {key_of(task): len(spot.times) for task, spot in run.placed}
        begins = run.timeline.begins_min
        hands, longest = 0, begins
        for chain in self.chains.values():
            ready = begins
            for task in chain:
                if key_of(task) not in today:
                    continue
                visits = task.visits[: today[key_of(task)]]
                hands += sum(visit.hands_min for visit in visits)
                ends = max(ready, task.from_min) + visits[0].hands_min
                first_end = ends
                for visit in visits[1:]:
                    ends = max(ends, first_end + visit.after_min) + visit.hands_min
                longest, ready = max(longest, ends), ends + task.rest_min
        return max(longest, begins + hands)


def _ranks(chains: Chains) -> Iterator[Rank]:
    """Yield rules of precedence: the task with the least rank goes first."""
    tasks = [task for chain in chains.values() for task in chain]
    tails = _tails(chains)
    dwell = {key_of(task): float(sum(v.after_min for v in task.visits)) for task in tasks}
    agents = sorted({task.agent for task in tasks if task.put_down and task.agent})
    load = {a: sum(tails[key_of(t)] for t in tasks if t.agent == a) for a in agents}

    def session(task: Task) -> float:
        return load.get(task.agent or "", 0.0) if task.put_down else 0.0

    # Dry and watery work first, then one agent after the other: sessions are not torn apart.
    yield lambda t: (bool(t.put_down), -session(t), -tails[key_of(t)])
    yield lambda t: (-tails[key_of(t)],)
    yield lambda t: (-dwell[key_of(t)], bool(t.put_down), session(t), -tails[key_of(t)])
    yield lambda t: (bool(t.put_down), session(t), tails[key_of(t)])
    yield lambda t: (-bool(t.put_down), -session(t), -tails[key_of(t)])


def _tails(chains: Chains) -> dict[str, float]:
    """Return the least time from each task's begin to the end of its case's day."""
    tails = {}
    for chain in chains.values():
        left = 0.0
        for task in reversed(chain):
            left += task.rest_min + sum(v.hands_min for v in task.visits)
            left += max((v.after_min for v in task.visits), default=0)
            tails[key_of(task)] = left
    return tails


def _plan(run: Run, bound_min: int) -> DayPlan:
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
                    late_min(task, spot),
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
        bound_min,
    )
