"""One person's day: room for all visits of a task, no stop time or airing broken."""

from __future__ import annotations

from bisect import bisect_right, insort
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import islice

from triage.history.daytypes import (
    DAY_MIN,
    NEVER,
    Admitted,
    Air,
    Airing,
    Hours,
    Later,
    Task,
    Visit,
)

#: how far to move on after the air refused a release, and how often [min]
_AIR_STEP_MIN = 60
_AIR_TRIES = 4
#: how far to move on where a dwell would end outside the hours [min]
_HOURS_STEP_MIN = 10
#: which visits of a task are kept back, by their place, to which minute of the day
Held = Mapping[int, int]


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a task fits: (begin, end) of each visit of today, what falls later, and the air."""

    times: tuple[tuple[int, int], ...]
    later: tuple[Later, ...]
    admitted: Admitted | None


class Timeline:
    """Hands-on stretches placed so far, with the airings they brought.

    Parameters
    ----------
    hours   working hours
    now_min present moment [min of the day]; nothing is placed before it
    air     the air of the day so far
    airings airings that earlier work still asks for
    """

    def __init__(
        self, hours: Hours, now_min: int, air: Air, airings: Sequence[Airing] = ()
    ) -> None:
        self.hours = hours
        self.begins_min = max(hours.opens_min, now_min)
        self.air = air
        self.busy: list[tuple[int, int, str]] = []
        self.airings: list[Airing] = list(airings)
        self.last_release_min = now_min

    def anew(self, air: Air) -> Timeline:
        """Return this day as it was with nothing placed, on an air as that was then."""
        return Timeline(self.hours, self.last_release_min, air.fresh(), self.airings)

    def earliest(self, hands_min: int, agent: str | None, from_min: int) -> int | None:
        """Return the first minute from which ``hands_min`` are free, None if none is left today."""
        minute = max(from_min, self.begins_min)
        while True:
            minute = self._past_work(minute, hands_min)
            if minute + hands_min > self.hours.closes_min:
                return None
            aired = minute
            for airing in self.airings:
                if (
                    airing.agent != agent
                    and airing.begin_min < aired + hands_min
                    and aired < airing.end_min
                ):
                    aired = airing.end_min
            if aired == minute:
                return minute
            minute = aired

    def _past_work(self, minute: int, hands_min: int) -> int:
        """Return the first minute from which no work that is placed stands in the way."""
        busy = self.busy
        place = bisect_right(busy, (minute, NEVER, ""))
        if place and busy[place - 1][1] > minute:
            minute = busy[place - 1][1]
        end = minute + hands_min
        for begin, until, _ in islice(busy, place, None):
            if begin >= end:
                break
            minute = until
            end = minute + hands_min
        return minute

    def find(self, task: Task, from_min: int, held: Held) -> Spot | str:
        """Return the first place for a whole task, or why there is none today.

        ``held`` keeps visits back, within their stop times.
        """
        begin: int | None = max(from_min, task.from_min, held.get(0, 0))
        if task.put_down is not None:
            # The air is judged release after release, so a release is never put before another.
            begin = max(begin or 0, self.last_release_min)
        refusals = 0
        reason = NO_TIME
        while begin is not None and refusals < _AIR_TRIES:
            begin = self.earliest(task.visits[0].hands_min, task.agent, begin)
            if begin is None:
                break
            placed = self._visits(task, begin, held)
            if isinstance(placed, int):
                begin, reason = begin + placed, NO_STOP_TIME
                continue
            times, later = placed
            if task.put_down is None:
                return Spot(times, later, None)
            admitted = self.air.admit(task.put_down, begin)
            if admitted.refused:
                refusals, reason = refusals + 1, admitted.refused
                begin += _AIR_STEP_MIN
                continue
            blocked = self._blocked_until(task, times, admitted.airing_min)
            if blocked is None:
                return Spot(times, later, admitted)
            begin, reason = max(begin + 1, blocked), NO_AIRING
        return reason

    def _visits(
        self, task: Task, begin: int, held: Held
    ) -> tuple[tuple[tuple[int, int], ...], tuple[Later, ...]] | int:
        """Return times of all visits from a begin on, or by how many minutes it must move."""
        first_end = begin + task.visits[0].hands_min
        times = [(begin, first_end)]
        later: list[Later] = []
        for place, visit in enumerate(task.visits[1:], start=1):
            soonest = max(first_end + visit.after_min, times[-1][1])
            latest = first_end + visit.until_min
            soonest = max(soonest, min(held.get(place, 0), latest))
            minute = None if later else self.earliest(visit.hands_min, task.agent, soonest)
            if minute is not None and minute <= latest:
                times.append((minute, minute + visit.hands_min))
                continue
            if self._can_be_later(visit, soonest, latest):
                later.append(Later(soonest, latest, task.case, task.step, task.name, visit.kind))
                continue
            return max(1, minute - latest) if minute is not None else _HOURS_STEP_MIN
        return tuple(times), tuple(later)

    def _can_be_later(self, visit: Visit, soonest: int, latest: int) -> bool:
        if visit.kind == "look":
            return soonest + visit.hands_min > self.hours.closes_min
        return self.hours.is_open_between(max(soonest, DAY_MIN), latest, visit.hands_min)

    def _blocked_until(
        self, task: Task, times: Sequence[tuple[int, int]], airing_min: int
    ) -> int | None:
        """Return the end of work of others that this task's airing would meet, None if none."""
        if not airing_min:
            return None
        for end in {times[0][1], times[-1][1]}:
            place = bisect_right(self.busy, (end, -1, ""))
            for begin, until, agent in self.busy[max(0, place - 1) :]:
                if begin >= end + airing_min:
                    break
                if until > end and agent != task.agent:
                    return until
        return None

    def place(self, task: Task, spot: Spot) -> None:
        """Take a place that was found."""
        for begin, end in spot.times:
            insort(self.busy, (begin, end, task.agent or ""))
        airing = 0
        if task.put_down is not None and spot.admitted is not None:
            begin = spot.times[0][0]
            self.air.record(task.put_down, begin, spot.admitted.amount_ml)
            self.last_release_min = begin
            airing = spot.admitted.airing_min
        if airing and task.agent:
            for end in sorted({spot.times[0][1], spot.times[-1][1]}):
                self.airings.append(Airing(end, min(end + airing, NEVER), task.agent))

    def place_due(self, task: Task, from_min: int) -> Spot:
        """Place a task that is due today as early as can be, even after its stop time."""
        begin = max(from_min, task.from_min)
        minute = self.earliest(task.visits[0].hands_min, task.agent, begin)
        if minute is None:
            # Out of hours, or the room is being aired: a stop time goes before both.
            minute = max([begin, self.begins_min, *(end for _, end, _ in self.busy)])
        spot = Spot(((minute, minute + task.visits[0].hands_min),), (), None)
        self.place(task, spot)
        if task.agent:
            airing = self.air.airing_min(task.agent, minute)
            if airing:
                self.airings.append(Airing(spot.times[0][1], spot.times[0][1] + airing, task.agent))
        return spot


NO_TIME = "no time is left for it today"
NO_STOP_TIME = "its stop time would fall where nobody is free at the bench"
NO_AIRING = "the airing after it would run into other work"
