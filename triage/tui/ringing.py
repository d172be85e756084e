"""What is done about the timers: the title, the bell, the window that stays until answered."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from textual.widgets import Input

from triage.tui.screens.base import ServiceScreen
from triage.tui.screens.ofcase import CaseScreen
from triage.tui.screens.windows import AlarmScreen
from triage.tui.timerwatch import Alarm, alarm_words, clock_words
from triage.tui.widgets.stepping import Countdown

if TYPE_CHECKING:
    from triage.tui.app import TriageApp


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
