"""The timers of all cases: watched, said once each, rung, and asked about until answered."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from textual.widgets import Input

from triage.plan.names import zone_words
from triage.show.words import timer_label
from triage.tui.screens.base import ServiceScreen
from triage.tui.screens.ofcase import CaseScreen
from triage.tui.screens.windows import AlarmScreen
from triage.tui.widgets.stepping import WARN_S, Countdown, clock_words

if TYPE_CHECKING:
    from triage.case.models import Case, Timer
    from triage.knowledge.specimen import Zone
    from triage.plan.model import Step
    from triage.tui.app import TriageApp


@dataclass(frozen=True)
class Alarm:
    """One thing to tell the user about a timer; the seconds left are below zero when it is over."""

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


class Ringing:
    """Tell of the timers of all cases, whatever screen stands."""

    def __init__(self, app: TriageApp) -> None:
        self.app = app
        self._alarms: dict[tuple[str, str], str] = {}

    def say_running(self, running: Sequence[Alarm]) -> None:
        """Say in every title line which time runs out first."""
        text = ""
        if running:
            first = running[0]
            word = "OVER" if first.is_over else "left"
            more = f" +{len(running) - 1}" if len(running) > 1 else ""
            text = f"@ {clock_words(first.seconds)} {word}{more}"
        for screen in self.app.screen_stack:
            if isinstance(screen, ServiceScreen):
                screen.show_running(text)
        self.app.set_terminal_title(text)

    def ring(self, alarm: Alarm) -> None:
        """Ring once, and say it where one stands at the step; elsewhere it is asked about."""
        self.app.bell()
        known = self.app.services.shown(alarm.case)
        step = known[1].step(alarm.step) if known is not None else None
        zones = self.app.services.workshop.knowledge.zones if self.app.services.is_open else {}
        words = alarm_words(alarm, step, zones)
        if alarm.is_over and not self._is_at(alarm.case, alarm.step):
            self._alarms[alarm.case, alarm.step] = words
        else:
            self.app.notify(words, severity="warning", timeout=15, markup=False)
        for countdown in self.app.screen.query(Countdown):
            countdown.refresh_time()  # right at once

    def _is_at(self, case: str, step: str) -> bool:
        """Return whether the topmost screen with a step stands at this one."""
        for screen in reversed(self.app.screen_stack):
            if isinstance(screen, CaseScreen) and screen.step is not None:
                return (screen.case_id, screen.step.id) == (case, step)
        return False

    def ask(self, over: set[tuple[str, str]]) -> None:
        """Show the next alarm that was not answered, unless a window or a line has the keys."""
        self._alarms = {key: words for key, words in self._alarms.items() if key in over}
        screen = self.app.screen
        if not self._alarms or not isinstance(screen, ServiceScreen):
            return
        if isinstance(screen.focused, Input):
            return
        (case, step), words = next(iter(self._alarms.items()))
        del self._alarms[case, step]

        def answered(goes: bool | None) -> None:
            if goes:
                self.app.open_step(case, step)

        self.app.push_screen(AlarmScreen(words, self.app.services.pulse), answered)
