"""One order of a day's work: each task as a whole put into the first place where it fits."""

from __future__ import annotations

import heapq
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise

from triage.history.daytypes import LeftOut, Task
from triage.history.timeline import Spot, Timeline

WAITS = "it comes after a step that is not done today"
RUNS_ON = "the step before it runs on beyond today"
Rank = Callable[[Task], tuple[float, ...]]
#: begins of a task's visits that are held back [min of the day]; 0: as early as can be
Held = Mapping[str, tuple[int, ...]]
Chains = Mapping[str, Sequence[Task]]


@dataclass
class Run:
    """One order of work while it grows."""

    timeline: Timeline
    placed: list[tuple[Task, Spot]] = field(default_factory=list)
    left_out: list[LeftOut] = field(default_factory=list)
    ready: dict[str, int] = field(default_factory=dict)

    def score(self) -> tuple[int, int, int, int]:
        """Return what a better run has less of: steps left out, minutes late, end, sessions."""
        late = sum(late_min(task, spot) for task, spot in self.placed)
        return len(self.left_out), late, self.ends_min, self._sessions()

    def _sessions(self) -> int:
        """Return how often another agent is taken up."""
        used = sorted((spot.times[0], task.agent) for task, spot in self.placed if task.put_down)
        return sum(one[1] != two[1] for one, two in pairwise(used))

    @property
    def ends_min(self) -> int:
        """End of the last work [min of the day]."""
        return max((end for _, end, _ in self.timeline.busy), default=self.timeline.begins_min)

    def take(self, task: Task, spot: Spot) -> None:
        """Take a place that was found; the case is ready again after its rest."""
        self.placed.append((task, spot))
        ends = spot.times[-1][1] + task.rest_min
        self.ready[task.case] = max(self.ready.get(task.case, 0), ends)

    def leave_out(self, tasks: Sequence[Task], because: str) -> None:
        """Leave steps for another day."""
        self.left_out += [LeftOut(t.case, t.step, t.name, because) for t in tasks]


def score_of(run: Run) -> tuple[int, int, int, int]:
    """Return the score of a run; the least is the best."""
    return run.score()


def key_of(task: Task) -> str:
    """Return the name of a task among all of the day."""
    return f"{task.case}/{task.step}"


def late_min(task: Task, spot: Spot) -> int:
    """Return how long after its stop time a due task begins [min]."""
    return max(0, spot.times[0][0] - task.until_min) if task.is_due else 0


def run_by(chains: Chains, rank: Rank, held: Held, timeline: Timeline) -> Run:
    """Return the day that a rule of precedence makes.

    Parameters
    ----------
    chains   tasks of each case in their order
    rank     the task with the least rank goes first
    held     begins that are not to be beaten
    timeline an empty one
    """
    run = Run(timeline)
    waiting = {case: list(chain) for case, chain in chains.items()}
    due = sorted((t for chain in chains.values() for t in chain if t.is_due), key=_urgency)
    for task in due:
        # Work that runs already: first what must be done first, whatever the rule.
        waiting[task.case].remove(task)
        run.take(task, timeline.place_due(task, run.ready.get(task.case, 0)))
    heads = [(rank(tasks[0]), case) for case, tasks in waiting.items() if tasks]
    heapq.heapify(heads)
    while heads:
        _, case = heapq.heappop(heads)
        task = waiting[case].pop(0)
        begins = held.get(key_of(task), ())
        begin = max(run.ready.get(case, 0), begins[0] if begins else 0)
        spot = timeline.find(task, begin, begins)
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


def _urgency(task: Task) -> tuple[int, int, str, str]:
    return (task.until_min, task.from_min, task.case, task.step)
