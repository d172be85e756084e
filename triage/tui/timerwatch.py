"""Which dwell timers run, which are about to end and which have ended: each said once."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from triage.case.models import Case, Timer


WARN_S = 20


@dataclass(frozen=True)
class Alarm:
    """One thing to tell the user about a timer; ``seconds`` are left, below zero over."""

    case: str
    step: str
    label: str
    seconds: float

    @property
    def is_over(self) -> bool:
        """Whether the time has run out."""
        return self.seconds <= 0


class TimerWatch:
    """Hold the timers of all cases seen and say each warning and each end once."""

    def __init__(self) -> None:
        self._timers: dict[tuple[str, str], Timer] = {}
        self._said: set[tuple[str, str, datetime, bool]] = set()

    def see(self, case: Case) -> None:
        """Take over the timers of a case as they are now."""
        for key in [key for key in self._timers if key[0] == case.id]:
            del self._timers[key]
        for timer in case.timers:
            self._timers[(case.id, timer.step)] = timer

    def running(self, now: datetime) -> tuple[Alarm, ...]:
        """Return all timers, the one that ends first first."""
        alarms = [
            Alarm(case, step, timer.label or step, (timer.ends - now).total_seconds())
            for (case, step), timer in self._timers.items()
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
                fresh.append(Alarm(case, step, timer.label or step, left_s))
        return tuple(fresh)
