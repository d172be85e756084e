"""The shortest a day could be: no order of the same work ends earlier."""

from __future__ import annotations

import heapq
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

from triage.history.daytypes import Task, Visit

#: least airing of a task's release [min]; 0 where it has none
LeastAiring = Callable[[Task], int]
#: orders of sessions that are looked at before the bound does without them
_MOST_SESSIONS = 20_000


@dataclass(frozen=True, slots=True)
class Job:
    """One visit as the bound sees it: earliest begin, hands-on time, least time behind its end."""

    head_min: int
    hands_min: int
    tail_min: int


def jobs_of(
    chain: Sequence[Task],
    visits_today: Mapping[str, int],
    begins_min: int,
    airing: LeastAiring,
) -> list[Job]:
    """Return the visits of one case with their least heads and tails.

    Parameters
    ----------
    chain        tasks of a case that are done today, in order
    visits_today step -> how many of its visits fall on today
    begins_min   begin of the day [min]
    airing       least airing of a task [min]
    """
    if not chain:
        return []
    jobs: list[Job] = []
    ready = begins_min
    gaps = [_gap(one, two, airing) for one, two in pairwise(chain)]
    behind = _least_behind(chain, visits_today, gaps)
    for task, after, gap in zip(chain, behind, [*gaps, 0], strict=True):
        visits = task.visits[: visits_today[task.step]]
        begin = max(ready, task.from_min)
        ends = _least_ends(visits)
        for place, (visit, end) in enumerate(zip(visits, ends, strict=True)):
            # Holding back a later visit does not move the next one; holding back the first does.
            left = ends[-1] - end if place == 0 else sum(v.hands_min for v in visits[place + 1 :])
            jobs.append(Job(begin + end - visit.hands_min, visit.hands_min, left + after))
        ready = begin + ends[-1] + gap
    return jobs


def _gap(before: Task, task: Task, airing: LeastAiring) -> int:
    """Return the least time between two tasks of one case: rest, and the airing of the first."""
    return max(before.rest_min, airing(before) if task.agent != before.agent else 0)


def _least_ends(visits: Sequence[Visit]) -> list[int]:
    """Return the least ends of a task's visits, counted from its begin [min]."""
    ends = [visits[0].hands_min]
    for visit in visits[1:]:
        ends.append(max(ends[0] + visit.after_min, ends[-1]) + visit.hands_min)
    return ends


def _least_behind(
    chain: Sequence[Task], visits_today: Mapping[str, int], gaps: Sequence[int]
) -> list[int]:
    """Return the least time from the end of each task to the end of the last one [min]."""
    behind = [0]
    for gap, task in zip(gaps[::-1], chain[:0:-1], strict=True):
        span = _least_ends(task.visits[: visits_today[task.step]])[-1]
        behind.append(behind[-1] + gap + span)
    return behind[::-1]


def least_idle_min(
    chains: Iterable[Sequence[Task]], visits_today: Mapping[str, int], airing: LeastAiring
) -> int:
    """Return the time in which nobody can be at the bench, whatever the order [min].

    Parameters
    ----------
    chains       tasks of each case that are done today, in order
    visits_today ``case/step`` -> how many of its visits fall on today
    airing       least airing of a task [min]

    Notes
    -----
    Work with agents that are aired falls into sessions. Behind the last release of each session
    but the last, the room is aired, and only visits that use the same agent and are not aired
    themselves can be done meanwhile; no two of these airings overlap. Every case passes its
    agents in its own order, so the sessions of a day, one after the other, must hold the
    sequence of every case: the cheapest such row of sessions is the bound.
    """
    short: dict[str, int] = {}
    filler: Counter[str] = Counter()
    sequences = set()
    for chain in chains:
        row: list[str] = []
        for task in chain:
            visits = task.visits[: visits_today[f"{task.case}/{task.step}"]]
            agent, airs = task.agent or "", airing(task)
            if not agent:
                continue
            if not airs:
                filler[agent] += sum(visit.hands_min for visit in visits)
                continue
            filler[agent] += sum(visit.hands_min for visit in visits[1:-1])
            short[agent] = min(short.get(agent, airs), airs)
            if not row or row[-1] != agent:
                row.append(agent)
        if row:
            sequences.add(tuple(row))
    return _cheapest_sessions(sorted(sequences), short, filler)


def _cheapest_sessions(
    sequences: Sequence[tuple[str, ...]], airing: Mapping[str, int], filler: Mapping[str, int]
) -> int:
    """Return the least sum of airings of a row of sessions that holds every sequence."""
    if not sequences:
        return 0
    agents = sorted(airing)

    def idle(counts: tuple[int, ...]) -> int:
        return sum(
            max(0, count * airing[agent] - filler.get(agent, 0))
            for agent, count in zip(agents, counts, strict=True)
        )

    # From the cheapest row on: its sessions so far, all of which are followed by another.
    heap = [(0, (0,) * len(agents), (0,) * len(sequences), "")]
    seen = set()
    for _ in range(_MOST_SESSIONS):
        cost, counts, places, last = heapq.heappop(heap)
        if (counts, places, last) in seen:
            continue
        seen.add((counts, places, last))
        if all(place == len(row) for place, row in zip(places, sequences, strict=True)):
            return cost
        paid = list(counts)
        if last:
            paid[agents.index(last)] += 1
        now = tuple(paid)
        for agent in agents:
            moved = tuple(
                place + (place < len(row) and row[place] == agent)
                for place, row in zip(places, sequences, strict=True)
            )
            if moved != places:
                heapq.heappush(heap, (idle(now), now, moved, agent))
    # Too many agents to look at every row: each session but one is aired at least once.
    each = [idle(tuple(int(a == b) for b in agents)) for a in agents]
    return sum(each) - max(each)


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
