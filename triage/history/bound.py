"""The shortest a day could be: no order of the same work ends earlier."""

from __future__ import annotations

import heapq
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from triage.history.daytypes import Task, Visit


@dataclass(frozen=True, slots=True)
class Job:
    """One visit as the bound sees it: earliest begin, hands-on time, least time behind its end."""

    head_min: int
    hands_min: int
    tail_min: int


def jobs_of(chain: Sequence[Task], visits_today: Mapping[str, int], begins_min: int) -> list[Job]:
    """Return the visits of one case with their least heads and tails.

    Parameters
    ----------
    chain        tasks of a case that are done today, in order
    visits_today step -> how many of its visits fall on today
    begins_min   begin of the day [min]
    """
    jobs: list[Job] = []
    ready = begins_min
    behind = _least_behind(chain, visits_today)
    for task, after in zip(chain, behind, strict=True):
        visits = task.visits[: visits_today[task.step]]
        begin = max(ready, task.from_min)
        ends = _least_ends(visits)
        for place, (visit, end) in enumerate(zip(visits, ends, strict=True)):
            # Holding back a later visit does not move the next one; holding back the first does.
            left = ends[-1] - end if place == 0 else sum(v.hands_min for v in visits[place + 1 :])
            jobs.append(Job(begin + end - visit.hands_min, visit.hands_min, left + after))
        ready = begin + ends[-1] + task.rest_min
    return jobs


def _least_ends(visits: Sequence[Visit]) -> list[int]:
    """Return the least ends of a task's visits, counted from its begin [min]."""
    ends = [visits[0].hands_min]
    for visit in visits[1:]:
        ends.append(max(ends[0] + visit.after_min, ends[-1]) + visit.hands_min)
    return ends


def _least_behind(chain: Sequence[Task], visits_today: Mapping[str, int]) -> list[int]:
    """Return the least time from the end of each task to the end of the last one [min]."""
    if not chain:
        return []
    behind = [0]
    for before, task in zip(chain[-2::-1], chain[:0:-1], strict=True):
        span = _least_ends(task.visits[: visits_today[task.step]])[-1]
        behind.append(behind[-1] + before.rest_min + span)
    return behind[::-1]


def least_end_min(jobs: Iterable[Job]) -> int:
    """Return a minute before which one person cannot end all jobs.

    Notes
    -----
    Jackson's rule: at every moment work on the job with the longest tail that may have begun,
    and let a job with a longer tail interrupt it. The result is the shortest schedule with
    interruptions, hence a lower bound on every schedule without, on the longest chain and on
    the sum of all hands-on time. Airings, stop times and closing time only lengthen a day.

    Source
    ------
    Carlier, European Journal of Operational Research 11:42-47, 1982 (from memory: heads, tails
    and the preemptive bound); checked against an exact solver.
    """
    waiting = sorted(jobs, key=lambda job: job.head_min)
    ready: list[list[int]] = []
    minute = latest = place = 0
    while place < len(waiting) or ready:
        if not ready:
            minute = max(minute, waiting[place].head_min)
        while place < len(waiting) and waiting[place].head_min <= minute:
            heapq.heappush(ready, [-waiting[place].tail_min, waiting[place].hands_min])
            place += 1
        until = waiting[place].head_min if place < len(waiting) else minute + ready[0][1]
        worked = min(until - minute, ready[0][1])
        ready[0][1] -= worked
        minute += worked
        if ready[0][1] == 0:
            latest = max(latest, minute - ready[0][0])
            heapq.heappop(ready)
    return latest
