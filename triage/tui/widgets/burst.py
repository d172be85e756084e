"""A short timer for bursts of some seconds; it is not kept, a burst is too short for that."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from textual.content import Content
from textual.timer import Timer
from textual.widgets import Static

from triage.tui.keysets import keyset_of
from triage.tui.words import clock_words

if TYPE_CHECKING:
    from triage.service import Clock


class BurstTimer(Static):
    """Count one burst down and count the bursts done."""

    def __init__(self, clock: Clock, **more: Any) -> None:
        super().__init__("", **more)
        self._clock = clock
        self._ends: datetime | None = None
        self._ticking: Timer | None = None
        self.bursts = 0
        self.seconds = 0.0

    @property
    def _key(self) -> str:
        return keyset_of(self.app).sign("timer")

    def ready(self, seconds: float | None) -> None:
        """Take the length of a burst; None hides the timer."""
        self.seconds = seconds or 0.0
        self.display = bool(seconds)
        self._ends = None
        self.bursts = 0
        self._say(f"Burst of {self.seconds:g} s: key {self._key}")

    def start(self) -> None:
        """Start one burst."""
        if not self.seconds or self._ends is not None:
            return
        self._ends = self._clock() + timedelta(seconds=self.seconds)
        self._ticking = self.set_interval(0.1, self._tick)
        self._tick()

    def halt(self) -> None:
        """Break a burst off; it does not count."""
        if self._ticking is not None:
            self._ticking.stop()
        if self._ends is not None:
            self._ends = None
            self._say("Burst broken off")

    def _tick(self) -> None:
        if self._ends is None:
            return
        left_s = (self._ends - self._clock()).total_seconds()
        if left_s > 0:
            self._say(f"BURST ON {clock_words(left_s)}")
            return
        self.halt()
        self.bursts += 1
        self._say(f"OFF. Bursts done: {self.bursts}. Look, then key {self._key} for the next")
        self.app.bell()  # the bath is to be switched off

    def _say(self, text: str) -> None:
        self.update(Content(text))
