"""Running chambers: when to look next, what to top up, how long before mould must be expected."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime, timedelta

from triage.bench.chamber import MouldLimit, look_times_h
from triage.case.models import Case, Timer
from triage.case.naming import one_line
from triage.case.profile import Bench
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.answers import dose
from triage.plan.boxcalc import mould_time
from triage.plan.outcomes import as_followed

LOOKED = "chamber-look"
INHIBITORS = "chamber-inhibitor-"
HOUR_S = 3600.0


@dataclass(frozen=True, slots=True)
class Running:
    """A dwell that runs: its method, and the last moment at which it must be ended."""

    case: str
    title: str
    step: str
    method: str
    name: str
    started: datetime
    ends: datetime
    latest: datetime


@dataclass(frozen=True, slots=True)
class ChamberWatch:
    """A running chamber.

    Parameters
    ----------
    running      the dwell
    looks        all looks from the start on, the last one at its latest end
    looked       last look on record, None if there was none
    next_look    the first look not yet made, None when the stay is over
    is_overdue   that look should have been made by now
    top_up       names of what is in the chamber and dries up
    mould        longest stay to plan, with its standing; never "safe"
    mould_by     moment from which mould must be expected
    """

    running: Running
    looks: tuple[datetime, ...]
    looked: datetime | None
    next_look: datetime | None
    is_overdue: bool
    top_up: tuple[str, ...]
    has_inhibitor: bool
    mould: MouldLimit
    mould_by: datetime

    @property
    def sentence(self) -> str:
        """The chamber in one line."""
        over = "OVERDUE " if self.is_overdue else ""
        look = f"{over}look {self.next_look:%a %H:%M}" if self.next_look else "stay is over"
        return (
            f"{self.running.case}: {self.running.name}; {look}; take out from "
            f"{self.running.ends:%a %H:%M}, at the latest {self.running.latest:%a %H:%M}; "
            f"top up {', '.join(self.top_up)}; mould from {self.mould_by:%a %H:%M}"
        )


def method_of_step(knowledge: Knowledge, step: str) -> Method | None:
    """Return the method that a step id ends with, None if the knowledge has none such."""
    found = [method for method in knowledge.methods if step.endswith(f"-{method}")]
    return knowledge.methods[max(found, key=len)] if found else None


def running_of(knowledge: Knowledge, case: Case) -> tuple[Running, ...]:
    """Return the dwells that run in a case, by their timers.

    Notes
    -----
    The latest end is the start plus the longest dwell of the method. A timer that was set to end
    later than that, or whose method is not known, is due at its own end.
    """
    return tuple(_running(knowledge, case, timer) for timer in case.timers)


def _running(knowledge: Knowledge, case: Case, timer: Timer) -> Running:
    method = method_of_step(knowledge, timer.step)
    if method is not None:
        method, _ = as_followed(knowledge, case, method.id)
    latest = timer.ends
    if method is not None and method.dwell_s is not None:
        latest = timer.started + timedelta(seconds=method.dwell_s.most)
    return Running(
        case.id,
        one_line(case.title),
        timer.step,
        method.id if method else "",
        method.name if method else one_line(timer.label) or timer.step,
        timer.started,
        min(timer.ends, latest),
        latest,
    )


def chambers_of(
    knowledge: Knowledge, bench: Bench, case: Case, now: datetime
) -> tuple[ChamberWatch, ...]:
    """Return the running chambers of a case.

    Parameters
    ----------
    bench its room's temperature is taken for the chamber, kept within the method's span
    now   present moment, with its time zone
    """
    doses = knowledge.doses.values()
    inhibitors = {entry.agent for entry in doses if entry.id.startswith(INHIBITORS)}
    found = []
    for running in running_of(knowledge, case):
        method = knowledge.methods.get(running.method)
        if method is None or not method.look_after_h:
            continue
        agents, temp_c = agent_ids(knowledge, method.id), bench.room.temp_c
        has_inhibitor = not inhibitors.isdisjoint(agents)
        if method.temp_c is not None:
            temp_c = min(max(temp_c, method.temp_c.start), method.temp_c.most)
        damp = dose(knowledge, "day-chamber-humidity").least
        mould = mould_time(knowledge, temp_c, damp, has_inhibitor=has_inhibitor)
        looks = look_moments(knowledge, method, running)
        own = (each for each in case.overrides if (each.kind, each.method) == (LOOKED, method.id))
        looked = max((each.at for each in own if each.at >= running.started), default=None)
        due = next((look for look in looks if look > (looked or running.started)), None)
        found.append(
            ChamberWatch(
                running,
                looks,
                looked,
                due,
                due is not None and due < now,
                tuple(knowledge.agents[agent].name for agent in agents),
                has_inhibitor,
                mould,
                running.started + timedelta(days=mould.stay_days),
            )
        )
    return tuple(found)


def look_moments(knowledge: Knowledge, method: Method, running: Running) -> tuple[datetime, ...]:
    """Return when to look: the method's own hours, then so many times a day until the latest end.

    The end of the stay is a look too.
    """
    stay_h = (running.latest - running.started).total_seconds() / HOUR_S
    own = [hour for hour in method.look_after_h if hour < stay_h]
    per_day = dose(knowledge, "chamber-looks-per-day").least
    begin = own[-1] if own else 0.0
    rest = look_times_h(24.0 / per_day, per_day, stay_h - begin) if stay_h > begin else ()
    hours = sorted({*own, *(begin + hour for hour in rest)})
    return tuple(running.started + timedelta(hours=hour) for hour in hours)


def watch(
    knowledge: Knowledge, bench: Bench, cases: Iterable[Case], now: datetime
) -> tuple[ChamberWatch, ...]:
    """Return every running chamber, the next look first."""
    found = [each for case in cases for each in chambers_of(knowledge, bench, case, now)]
    return tuple(sorted(found, key=lambda w: (w.next_look or w.running.latest, w.running.case)))
