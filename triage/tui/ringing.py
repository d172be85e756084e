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
    """A timer of a case, and the seconds left: below zero when it is over."""

    case: Case
    timer: Timer
    seconds: float

    @property
    def at(self) -> tuple[str, str]:
        """The ids of case and step."""
        return self.case.id, self.timer.step

    @property
    def is_over(self) -> bool:
        """Whether the time has run out."""
        return self.seconds <= 0


class TimerWatch:
    """Hold the timers of all cases seen and say each warning and each end once."""

    def __init__(self) -> None:
        self._cases: dict[str, Case] = {}
        self._said: set[tuple[str, str, datetime, bool]] = set()

    def see(self, case: Case) -> None:
        """Take over the timers of a case as they are now."""
        self._cases[case.id] = case

    def running(self, now: datetime) -> tuple[Alarm, ...]:
        """Return all timers, the one that ends first first."""
        alarms = [
            Alarm(case, timer, (timer.ends - now).total_seconds())
            for case in self._cases.values()
            for timer in case.timers
        ]
        return tuple(sorted(alarms, key=lambda alarm: (alarm.seconds, alarm.at)))

    def news(self, now: datetime) -> tuple[Alarm, ...]:
        """Return the warnings and ends that were not said before."""
        fresh = []
        for alarm in sorted(self.running(now), key=lambda each: each.at):
            length_s = (alarm.timer.ends - alarm.timer.started).total_seconds()
            # A dwell not much longer than the warning itself is not warned of.
            if alarm.seconds > WARN_S or (alarm.seconds > 0 and length_s < 2 * WARN_S):
                continue
            said = (*alarm.at, alarm.timer.ends, alarm.is_over)
            if said not in self._said:
                self._said.add(said)
                fresh.append(alarm)
        return tuple(fresh)


def alarm_words(alarm: Alarm, step: Step | None, zones: Mapping[str, Zone]) -> str:
    """Return what is over or about to be: of which specimen, which step, where, and what to do.

    ``step`` is None where the plan of that specimen is not at hand: then a rinse is spoken of to
    be safe, and place and name are those that the case has.
    """
    is_wet = step is None or bool(step.agent or step.rinse)
    specimen = alarm.case.title or alarm.case.id
    about = f"{specimen}: {timer_label(step) if step else _kept_label(alarm, zones)}"
    if alarm.is_over:
        act = "Take it out, rinse, look" if is_wet else "Look"
        return f"Time is over. {about}. {act}, then record."
    act = "Get the rinse ready." if is_wet else "Get ready to look."
    return f"{clock_words(alarm.seconds)} left. {about}. {act}"


def _kept_label(alarm: Alarm, zones: Mapping[str, Zone]) -> str:
    label = alarm.timer.label or alarm.timer.step
    place = place_of(alarm.case, alarm.timer.step, zones)
    return label if place in label else f"{label}, {place}"


def place_of(case: Case, step: str, zones: Mapping[str, Zone]) -> str:
    """Return the zone that a step works on; the id of a step begins with that of its finding."""
    found = [each for each in case.findings if step.startswith(f"{each.id}-")]
    at = max(found, key=lambda each: len(each.id), default=None)
    if at is None:
        return zone_words(None, None)
    return zone_words(zones[at.zone].name if at.zone in zones else at.zone, at.side)


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
        known = self.app.services.shown(alarm.case.id)
        step = known[1].step(alarm.timer.step) if known is not None else None
        zones = self.app.services.workshop.knowledge.zones if self.app.services.is_open else {}
        words = alarm_words(alarm, step, zones)
        stands = [
            (each.case_id, each.step.id)
            for each in self.app.screen_stack
            if isinstance(each, CaseScreen) and each.step is not None
        ]
        if alarm.is_over and stands[-1:] != [alarm.at]:
            self._alarms[alarm.at] = words
        else:
            self.app.notify(words, severity="warning", timeout=15, markup=False)
        for countdown in self.app.screen.query(Countdown):
            countdown.refresh_time()  # right at once

    def ask(self, over: set[tuple[str, str]]) -> None:
        """Show the next alarm that was not answered, unless a window or a line has the keys."""
        self._alarms = {key: words for key, words in self._alarms.items() if key in over}
        screen = self.app.screen
        is_writing = isinstance(screen.focused, Input)
        if not self._alarms or is_writing or not isinstance(screen, ServiceScreen):
            return
        at, words = next(iter(self._alarms.items()))
        del self._alarms[at]
        window = AlarmScreen(words, self.app.services.pulse)
        self.app.push_screen(window, lambda goes: self.app.open_step(*at) if goes else None)
