"""Better orders of a day by small changes that pay: one task earlier, later, or held back."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from triage.history.daytypes import DAY_MIN, Admitted, PutDown, Task
from triage.history.daywork import RUNS_ON, WAITS, Chains, Held, Rank, Run, key_of, run_by
from triage.history.timeline import NO_AIRING, NO_STOP_TIME, NO_TIME, Timeline

#: how much longer than the best a day may be to be worked on, at first [fraction]
_WORSE = 0.08
#: fewer changes than this only climb
_MANY_RUNS = 100
Start = Callable[[], Timeline]


@dataclass(frozen=True)
class Genes:
    """What makes a day again: the order of its tasks, and begins that are held back."""

    order: Mapping[str, float]
    held: Held

    def rank(self) -> Rank:
        """Return the order as a rule of precedence; a task it does not name goes last."""
        return lambda task: (self.order.get(key_of(task), np.inf),)

    def run(self, chains: Chains, start: Start) -> Run:
        """Return the day that they make."""
        return run_by(chains, self.rank(), self.held, start())


def genes_of(run: Run, held: Held | None = None) -> Genes:
    """Return what makes a day again, from the order in which it was placed."""
    placed = [key_of(task) for task, _ in run.placed]
    left = [f"{each.case}/{each.step}" for each in run.left_out]
    return Genes({key: float(place) for place, key in enumerate(placed + left)}, held or {})


@dataclass
class AirAsBefore:
    """The air of a run taken as known, so that a change of order need not be judged again.

    A release gets the amount and airing that releases of its kind had in the run, and no more of
    them than the run had where the air refused one. What is found with it is judged by the true
    air before anything is taken from it.
    """

    known: Mapping[PutDown, Admitted]
    most: Mapping[PutDown, int]
    used: dict[PutDown, int] = field(default_factory=dict)

    def admit(self, put_down: PutDown, minute: int) -> Admitted:
        """Return what the air allowed such a release before."""
        del minute
        if self.used.get(put_down, 0) >= self.most.get(put_down, DAY_MIN):
            return Admitted(0.0, 0, "air: as before")
        return self.known.get(put_down) or Admitted(put_down.amount_ml, 0)

    def record(self, put_down: PutDown, minute: int, amount_ml: float) -> None:
        """Count a release."""
        del minute, amount_ml
        self.used[put_down] = self.used.get(put_down, 0) + 1

    def airing_min(self, agent: str, minute: int) -> int:
        """Return no airing: work that runs already is placed before any release."""
        del agent, minute
        return 0

    def fresh(self) -> AirAsBefore:
        """Return the air before anything was planned."""
        return AirAsBefore(self.known, self.most)


def air_of(run: Run, chains: Chains) -> AirAsBefore:
    """Return the air as it was in a run."""
    known: dict[PutDown, Admitted] = {}
    count: dict[PutDown, int] = {}
    for task, spot in run.placed:
        if task.put_down is None or spot.admitted is None:
            continue
        before = known.get(task.put_down, spot.admitted)
        known[task.put_down] = max(before, spot.admitted, key=lambda each: each.airing_min)
        count[task.put_down] = count.get(task.put_down, 0) + 1
    by_key = {key_of(task): task for chain in chains.values() for task in chain}
    refused = {
        by_key[f"{each.case}/{each.step}"].put_down
        for each in run.left_out
        if each.because not in (NO_TIME, NO_STOP_TIME, NO_AIRING, WAITS, RUNS_ON)
    }
    most = {put_down: count.get(put_down, 0) for put_down in refused if put_down is not None}
    return AirAsBefore(known, most)


def improved(
    begun: Genes,
    chains: Chains,
    start: Start,
    random: np.random.Generator,
    effort: tuple[int, int],
    is_best: Callable[[Run], bool],
) -> Genes:
    """Return the best of many small changes to an order; ``effort``: how many, most at a time."""
    runs, most_changes = effort
    here = best = begun.run(chains, start)
    tasks = [task for chain in chains.values() for task in chain if not task.is_due]
    if len(tasks) < 2 or is_best(best):
        return begun
    changing = _Changing(tasks, random, most_changes)
    genes = found = begun
    length = best.ends_min - best.timeline.begins_min
    for number in range(runs):
        new = changing.changed(here, genes)
        run = new.run(chains, start)
        # A little worse is taken at first, so that the search does not end on the first summit.
        share = max(0.0, 1.0 - 1.5 * number / runs) if runs >= _MANY_RUNS else 0.0
        if _cost(run) <= _cost(here) + _WORSE * length * share**2:
            here, genes = run, new
        if run.score() < best.score():
            best, found = run, new
            if is_best(best):
                break  # no order can be better
    return found


def _cost(run: Run) -> float:
    left_out, late, ends, _ = run.score()
    return DAY_MIN * 10.0 * left_out + 10.0 * late + ends


class _Changing:
    """Makes small changes by chance to the order of some tasks."""

    def __init__(
        self, tasks: Sequence[Task], random: np.random.Generator, most_changes: int
    ) -> None:
        self.tasks = tasks
        self.random = random
        self.most_changes = most_changes
        self.by_agent: dict[str | None, list[str]] = {}
        for task in tasks:
            self.by_agent.setdefault(task.agent, []).append(key_of(task))

    def changed(self, best: Run, genes: Genes) -> Genes:
        """Return order and held begins with a few changes."""
        random = self.random
        order, held = dict(genes.order), dict(genes.held)
        for _ in range(1 + int(random.integers(self.most_changes))):
            task = self.tasks[int(random.integers(len(self.tasks)))]
            key = key_of(task)
            kind = float(random.random())
            if kind < 0.3:
                order[key] = float(random.uniform(-1.0, len(self.tasks) + 1.0))
            elif kind < 0.5:
                # Beside another step of its agent, so that they form one session.
                same = self.by_agent[task.agent]
                other = same[int(random.integers(len(same)))]
                order[key] = order.get(other, 0.0) + float(random.uniform(-0.5, 0.5))
            elif kind < 0.7:
                held.pop(key, None)
            else:
                place, minute = self._held_to(best, key)
                begins = list(held.get(key, ()))
                begins += [0] * (place + 1 - len(begins))
                begins[place] = max(minute, 0)
                held[key] = tuple(begins)
        return Genes(order, held)

    def _held_to(self, best: Run, key: str) -> tuple[int, int]:
        """Return which visit to hold back, and until when: where it meets other work."""
        random = self.random
        found = next(((task, spot) for task, spot in best.placed if key_of(task) == key), None)
        if found is None:
            return 0, 0
        task, spot = found
        begin, end, _ = best.timeline.busy[int(random.integers(len(best.timeline.busy)))]
        place = int(random.integers(len(task.visits)))
        visit = task.visits[place]
        # The visit begins where other work ends, or ends where other work begins.
        moment = end if random.random() < 0.5 else begin - visit.hands_min
        if place == 0:
            return 0, moment
        latest = min(visit.until_min, DAY_MIN)
        choice = float(random.random())
        if choice < 0.3:
            return place, moment
        if choice < 0.6:
            # As late as it may be, or anywhere before: makes room for what must go between.
            wait = latest if choice < 0.45 else int(random.integers(visit.after_min, latest + 1))
            return place, spot.times[0][1] + wait
        wait = visit.after_min if choice < 0.8 else latest
        return 0, moment - task.visits[0].hands_min - wait
