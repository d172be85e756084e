"""Which dwell timers run, which are about to end and which have ended: each said once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from triage.plan.names import zone_words
from triage.show.words import timer_label

if TYPE_CHECKING:
    from collections.abc import Mapping

    from triage.case.models import Case, Timer
    from triage.knowledge.specimen import Zone
    from triage.plan.model import Step


WARN_S = 20


def clock_words(seconds: float) -> str:
    """Return seconds as h:mm:ss or m:ss, never below zero."""
    whole = max(0, int(seconds + 0.999) if seconds > 0 else int(-seconds))
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


@dataclass(frozen=True)
class Alarm:
    """One thing to tell the user about a timer.

    Parameters
    ----------
    case, step, label the ids, and what the timer is called in the case
    seconds           left; below zero over
    specimen          what the specimen is called
    zone, side        where on the animal, None for the whole specimen
    """

    case: str
    step: str
    label: str
    seconds: float
    specimen: str = ""
    zone: str | None = None
    side: str | None = None

    @property
    def is_over(self) -> bool:
        """Whether the time has run out."""
        return self.seconds <= 0


class TimerWatch:
    """Hold the timers of all cases seen and say each warning and each end once."""

    def __init__(self) -> None:
        self._timers: dict[tuple[str, str], Timer] = {}
        self._cases: dict[str, Case] = {}
        self._said: set[tuple[str, str, datetime, bool]] = set()

    def see(self, case: Case) -> None:
        """Take over the timers of a case as they are now."""
        for key in [key for key in self._timers if key[0] == case.id]:
            del self._timers[key]
        self._cases[case.id] = case
        for timer in case.timers:
            self._timers[(case.id, timer.step)] = timer

    def _alarm(self, case_id: str, timer: Timer, seconds: float) -> Alarm:
        case = self._cases[case_id]
        # The id of a step begins with that of its finding.
        found = [each for each in case.findings if timer.step.startswith(f"{each.id}-")]
        at = max(found, key=lambda each: len(each.id), default=None)
        return Alarm(
            case_id,
            timer.step,
            timer.label or timer.step,
            seconds,
            case.title or case_id,
            at.zone if at else None,
            at.side if at else None,
        )

    def running(self, now: datetime) -> tuple[Alarm, ...]:
        """Return all timers, the one that ends first first."""
        alarms = [
            self._alarm(case, timer, (timer.ends - now).total_seconds())
            for (case, _), timer in self._timers.items()
        ]
        return tuple(sorted(alarms, key=lambda alarm: (alarm.seconds, alarm.case, alarm.step)))

    def news(self, now: datetime) -> tuple[Alarm, ...]:
        """Return the warnings and ends that were not said before."""
        fresh = []
        for (case, step), timer in sorted(self._timers.items()):
            left_s = (timer.ends - now).total_seconds()
            length_s = (timer.ends - timer.started).total_seconds()
            # A dwell not much longer than the warning itself is not warned of.
            if left_s > WARN_S or (left_s > 0 and length_s < 2 * WARN_S):
                continue
            said = (case, step, timer.ends, left_s <= 0)
            if said not in self._said:
                self._said.add(said)
                fresh.append(self._alarm(case, timer, left_s))
        return tuple(fresh)


def alarm_words(alarm: Alarm, step: Step | None, zones: Mapping[str, Zone]) -> str:
    """Return what is over or about to be: of which specimen, which step, where, and what to do.

    ``step`` is None where the plan of that specimen is not at hand: then a rinse is spoken of to
    be safe, and place and name are those that the case has.
    """
    is_wet = step is None or bool(step.agent or step.rinse)
    about = f"{alarm.specimen}: {timer_label(step) if step else _kept_label(alarm, zones)}"
    if alarm.is_over:
        act = "Take it out, rinse, look" if is_wet else "Look"
        return f"Time is over. {about}. {act}, then record."
    act = "Get the rinse ready." if is_wet else "Get ready to look."
    return f"{clock_words(alarm.seconds)} left. {about}. {act}"


def _kept_label(alarm: Alarm, zones: Mapping[str, Zone]) -> str:
    zone = zones.get(alarm.zone or "")
    place = zone_words(zone.name if zone else alarm.zone, alarm.side)
    return alarm.label if place in alarm.label else f"{alarm.label}, {place}"
