"""A countdown to an end time; the time itself stands in the case, not here."""

from __future__ import annotations

from datetime import datetime
from typing import TYPE_CHECKING, Any

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Digits, Static

from triage.tui.timerwatch import WARN_S
from triage.tui.words import clock_words

if TYPE_CHECKING:
    from triage.service import Clock


class Countdown(Vertical):
    """Show the time left in large digits and in words; below zero, the time over."""

    def __init__(self, clock: Clock, **more: Any) -> None:
        super().__init__(**more)
        self._clock = clock
        self._ends: datetime | None = None
        self._idle = ""
        self._said = ""
        self._is_small = False

    def compose(self) -> ComposeResult:
        """Lay out words and digits."""
        yield Static("", id="timer-words")
        yield Digits("", id="timer-digits")

    def on_mount(self) -> None:
        """Look at the clock often enough to be right within a second."""
        self.set_interval(0.25, self.refresh_time)
        self.refresh_time()

    def show(self, ends: datetime | None, idle: str) -> None:
        """Count down to an end time, or say ``idle`` when there is none."""
        self._ends = ends
        self._idle = idle
        if self.is_mounted:
            self.refresh_time()

    def set_small(self, *, is_small: bool) -> None:
        """Say the time in the words only, or in large digits too."""
        if is_small != self._is_small:
            self._is_small = is_small
            self.refresh_time()

    @property
    def seconds_left(self) -> float | None:
        """Seconds to the end, None without a timer."""
        return None if self._ends is None else (self._ends - self._clock()).total_seconds()

    def refresh_time(self) -> None:
        """Show the difference to the clock."""
        digits = self.query_one("#timer-digits", Digits)
        left_s = self.seconds_left
        digits.display = left_s is not None and not self._is_small
        if left_s is None:
            self._say(self._idle)
            return
        clock = clock_words(left_s)
        if digits.value != clock:
            digits.update(clock)
        said = f" {clock}" if self._is_small else ""
        if left_s <= 0:
            self._say(f"TIME IS OVER, since{said}")
        elif left_s <= WARN_S:
            self._say(f"Nearly over, left{said}")
        else:
            self._say(f"Running, left{said}")
        self.set_class(left_s <= 0, "-over")
        self.set_class(0 < left_s <= WARN_S, "-soon")

    def _say(self, text: str) -> None:
        """Say it in words; the same words again would lay the whole screen out anew."""
        if text != self._said:
            self._said = text
            self.query_one("#timer-words", Static).update(Content(text))
