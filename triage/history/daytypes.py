"""What a bench day is made of: visits, tasks, and the plan of the day. Times are whole minutes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Literal, Protocol

VisitKind = Literal["start", "whole", "look", "finish"]
DAY_MIN = 1440
#: no later end: the dwell has no stop time, or the air never clears today
NEVER = 1_000_000


@dataclass(frozen=True, slots=True)
class Visit:
    """One stretch of hands-on time at one specimen.

    Parameters
    ----------
    kind      start or end of a dwell, a look between, or a step done in one go
    hands_min hands-on time [min], >= 1
    after_min earliest begin after the end of the task's first visit [min]; 0 for the first
    until_min latest begin after it [min]: the stop time; ``NEVER`` if there is none
    """

    kind: VisitKind
    hands_min: int
    after_min: int = 0
    until_min: int = NEVER


@dataclass(frozen=True, slots=True)
class PutDown:
    """What the first visit gives off: agent, working liquid [mL], the least that works, method.

    ``before`` is the method whose liquid a trial tries, None for others.
    """

    agent: str
    amount_ml: float
    least_ml: float
    method: str = ""
    before: str | None = None


@dataclass(frozen=True, slots=True)
class Task:
    """One step of one case.

    Parameters
    ----------
    case, step, name whose and which step
    visits           in the order of time, at least one
    agent            main agent; steps of one agent form a session
    put_down         what goes into the air, None if nothing does
    rest_min         rest of the specimen before its next task [min]
    from_min         earliest begin of the first visit [min of the day]
    until_min        latest begin of the first visit [min of the day]; ``NEVER``: not due today
    """

    case: str
    step: str
    name: str
    visits: tuple[Visit, ...]
    agent: str | None = None
    put_down: PutDown | None = None
    rest_min: int = 0
    from_min: int = 0
    until_min: int = NEVER

    @property
    def is_due(self) -> bool:
        """Whether it has to be done at a certain time today: a running dwell or a look."""
        return self.until_min < NEVER


@dataclass(frozen=True, slots=True)
class Hours:
    """Working hours [min of the day]: nobody is at the bench outside them."""

    opens_min: int
    closes_min: int

    def is_open_between(self, first_min: int, last_min: int, hands_min: int) -> bool:
        """Return whether work of ``hands_min`` can begin between two moments of a later day."""
        if last_min >= NEVER:
            return True
        for day in range(1, last_min // DAY_MIN + 1):
            opens, closes = (day * DAY_MIN + each for each in (self.opens_min, self.closes_min))
            if max(first_min, opens) <= min(last_min, closes - hands_min):
                return True
        return False


@dataclass(frozen=True, slots=True)
class Admitted:
    """What the air allows: an amount [mL] and the airing behind it [min], or a refusal."""

    amount_ml: float
    airing_min: int
    refused: str = ""


class Air(Protocol):
    """The air of one day: each release is judged on top of those before it."""

    def admit(self, put_down: PutDown, minute: int) -> Admitted:
        """Return what the air allows at a minute of the day, without recording it."""

    def record(self, put_down: PutDown, minute: int, amount_ml: float) -> None:
        """Record a release."""

    def airing_min(self, agent: str, minute: int) -> int:
        """Return how long the room must be aired from a minute on, by what was released [min]."""

    def fresh(self) -> Air:
        """Return the air as it was before anything was planned."""


@dataclass(frozen=True, slots=True)
class Entry:
    """One stretch of hands-on time in the day.

    ``late_min`` is how long it comes after its stop time: not 0 only for what was due before the
    plan was made, or for more falling due at once than one person can do.
    """

    begin_min: int
    end_min: int
    case: str
    step: str
    name: str
    kind: VisitKind
    agent: str | None
    amount_ml: float | None
    late_min: int = 0


@dataclass(frozen=True, slots=True)
class Airing:
    """Nobody in the room, except for steps of the same agent."""

    begin_min: int
    end_min: int
    agent: str


@dataclass(frozen=True, slots=True)
class Later:
    """A visit that falls on another day: between two moments [min from today's midnight]."""

    first_min: int
    last_min: int
    case: str
    step: str
    name: str
    kind: VisitKind


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A step that is not done today, and why."""

    case: str
    step: str
    name: str
    because: str


@dataclass(frozen=True, slots=True)
class DayPlan:
    """The day: what to do in which order, when to air, what waits for another day.

    Parameters
    ----------
    entries  hands-on stretches, earliest first; no two overlap
    airings  when only steps of the same agent may be done
    later    ends of dwells on another day
    left_out steps not done today, with the reason
    begins_min, ends_min first and last minute of the plan [min of the day]
    """

    entries: tuple[Entry, ...]
    airings: tuple[Airing, ...]
    later: tuple[Later, ...]
    left_out: tuple[LeftOut, ...]
    begins_min: int
    ends_min: int


def chains_of(tasks: Sequence[Task]) -> dict[str, tuple[Task, ...]]:
    """Return the tasks of each case in their order."""
    chains: dict[str, tuple[Task, ...]] = {}
    for task in tasks:
        chains[task.case] = (*chains.get(task.case, ()), task)
    return chains


@dataclass(frozen=True, slots=True)
class Session:
    """Steps of one agent one after the other, aired once behind the last."""

    agent: str
    begin_min: int
    end_min: int
    steps: tuple[tuple[str, str], ...]


def sessions_of(plan: DayPlan) -> tuple[Session, ...]:
    """Return the sessions of a day: hands-on stretches in a row that use the same agent."""
    found = []
    for agent, entries in groupby(plan.entries, key=lambda entry: entry.agent):
        if agent is not None:
            stretch = list(entries)
            steps = tuple(dict.fromkeys((each.case, each.step) for each in stretch))
            found.append(Session(agent, stretch[0].begin_min, stretch[-1].end_min, steps))
    return tuple(found)
