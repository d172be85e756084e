"""Put a day's work into an order: list scheduling by a few rules, then small changes that pay.

Each run takes the cases' next tasks by one rule of precedence and puts every task as a whole,
all its visits at once, into the first place where it fits. So nothing that was begun can find
itself without a free hand at its stop time. On a small day every order is considered, branch by
branch; on a larger one the best run is changed a little, again and again: one task earlier or
later in the order, beside others of its agent, or held back so that it ends where other work
ends. The result stands beside a bound that no order of the same work can beat: all hands-on
time, the longest case, or for a small day the proof that nothing is shorter. So a reader sees how
much could be left to gain.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence

import numpy as np

from triage.history.climb import Genes, Start, air_of, genes_of, improved
from triage.history.daytypes import Air, Airing, DayPlan, Entry, Hours, Later, Task, chains_of
from triage.history.daywork import Chains, Rank, Run, key_of, late_min, run_by, score_of
from triage.history.exact import NOBODY, Shortest, Stretch, shortest_order
from triage.history.timeline import Spot, Timeline

#: visits placed in all changes together, so that a large day takes no longer than it may
_VISITS = 150_000
_MOST_RUNS = 6000
#: rounds of changes; after each, the best day is made again on the true air
_ROUNDS = 6
#: stretches of work up to which every order is considered, and how many are placed in doing so
_EXACT_STRETCHES = 30
_EXACT_PLACED = 40_000


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
        self.air = air
        self.airings = airings
        self.start: Start = lambda: Timeline(hours, now_min, air.fresh(), airings)
        self.start_with: Callable[[Air], Start] = lambda other: (
            lambda: Timeline(hours, now_min, other.fresh(), airings)
        )
        self._bounds: dict[tuple[tuple[str, int], ...], int] = {}

    def plan(self, seed: int, most_runs: int) -> DayPlan:
        """Return the best day that is found."""
        random = np.random.default_rng(seed)
        ranks = _ranks(self.chains)
        first = sorted((run_by(self.chains, r, {}, self.start()) for r in ranks), key=score_of)
        best = self._exact(first[0])
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
        best = self._exact(best)
        return _plan(best, self._bound(best))

    def _runs(self, most_runs: int) -> int:
        visits = sum(len(task.visits) for chain in self.chains.values() for task in chain)
        return min(most_runs, _VISITS // max(1, visits))

    def _is_shortest(self, run: Run) -> bool:
        return not run.left_out and run.ends_min <= self._bound(run)

    def _exact(self, best: Run) -> Run:
        """Return the shortest order of a small day's work, or the run given.

        The airings behind each release are those of the run given; the day that is found is made
        anew on its own air, so one that the air forbids is never taken.
        """
        if not _is_small(best):
            return best
        found = self._shortest(best, lambda spot: spot.admitted.airing_min if spot.admitted else 0)
        if found.begins is None:
            return best
        spots = {key_of(task): spot for task, spot in best.placed}
        held: dict[str, tuple[int, ...]] = {}
        for chain, times in zip(self._done(best), found.begins, strict=True):
            left = list(times)
            for task in chain:
                count = len(spots[key_of(task)].times)
                held[key_of(task)], left = tuple(left[:count]), left[count:]
        order = {key: float(times[0]) for key, times in held.items()}
        return min(best, Genes(order, held).run(self.chains, self.start), key=score_of)

    def _shortest(self, run: Run, airing: Callable[[Spot], int]) -> Shortest:
        """Return the shortest order of what a run placed, if it is shorter than the run."""
        spots = {key_of(task): spot for task, spot in run.placed}
        done = self._done(run)
        agents = {NOBODY, *(task.agent or NOBODY for chain in done for task in chain)}
        free = {
            a: max((x.end_min for x in self.airings if x.agent != a), default=0) for a in agents
        }
        stretches = [_stretches(chain, spots, airing) for chain in done]
        begins = run.timeline.begins_min
        return shortest_order(stretches, begins, free, run.ends_min, _EXACT_PLACED)

    def _done(self, run: Run) -> list[list[Task]]:
        """Return the tasks of each case that a run placed on today, in order."""
        today = {key_of(task) for task, _ in run.placed}
        done = [[t for t in chain if key_of(t) in today] for chain in self.chains.values()]
        return [chain for chain in done if chain]

    def _bound(self, run: Run) -> int:
        """Return the least end of the work that the run placed on today."""
        key = tuple(sorted((key_of(task), len(spot.times)) for task, spot in run.placed))
        if key not in self._bounds:
            self._bounds[key] = self._least_end(run, dict(key))
        return self._bounds[key]

    def _least_end(self, run: Run, today: Mapping[str, int]) -> int:
        begins = run.timeline.begins_min
        hands, longest = 0, begins
        for chain in self._done(run):
            ready = begins
            for task in chain:
                visits = task.visits[: today[key_of(task)]]
                hands += sum(visit.hands_min for visit in visits)
                ends = max(ready, task.from_min) + visits[0].hands_min
                first_end = ends
                for visit in visits[1:]:
                    ends = max(ends, first_end + visit.after_min) + visit.hands_min
                longest, ready = max(longest, ends), ends + task.rest_min
        bound = max(longest, begins + hands)
        if bound >= run.ends_min or not _is_small(run):
            return bound
        least = {id(spot): self._least_airing(task) for task, spot in run.placed}
        found = self._shortest(run, lambda spot: least[id(spot)])
        if not found.is_proven:
            return bound
        return max(bound, run.ends_min if found.ends_min is None else found.ends_min)

    def _least_airing(self, task: Task) -> int:
        return self.air.least_airing_min(task.put_down) if task.put_down and task.agent else 0


def _is_small(run: Run) -> bool:
    return sum(len(spot.times) for _, spot in run.placed) <= _EXACT_STRETCHES


def _stretches(
    chain: Sequence[Task], spots: Mapping[str, Spot], airing: Callable[[Spot], int]
) -> list[Stretch]:
    """Return a case's visits of today as the exact search sees them."""
    found = []
    rest = 0
    for task in chain:
        spot = spots[key_of(task)]
        last = len(spot.times) - 1
        for place, visit in enumerate(task.visits[: last + 1]):
            found.append(
                Stretch(
                    visit.hands_min,
                    task.agent or NOBODY,
                    airing(spot) if task.agent and place in (0, last) else 0,
                    task.from_min if place == 0 else 0,
                    rest if place == 0 else 0,
                    place,
                    visit.after_min,
                    visit.until_min,
                )
            )
        rest = task.rest_min
    return found


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
