"""The parts of the screen of a step: checklist, time, stop points, the keys of the outcomes."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import TYPE_CHECKING, Any

from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Digits, Static

from triage.plan.model import Step
from triage.show.blocks import Line
from triage.show.step import caution_blocks, preparation, work_blocks
from triage.tui.keysets import keyset_of
from triage.tui.shown import Reasons

if TYPE_CHECKING:
    from triage.service.listing import Clock

CLOSED = {
    "ready": "The step is not open yet.   {not_done}  record: not done",
    "hold": "The step is not open yet: write what you see, or F9 goes back to the plan.",
}


WARN_S = 20


def clock_words(seconds: float) -> str:
    """Return seconds as h:mm:ss or m:ss, never below zero."""
    whole = max(0, int(seconds + 0.999) if seconds > 0 else int(-seconds))
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    return f"{hours}:{minutes:02d}:{left:02d}" if hours else f"{minutes}:{left:02d}"


class Checklist(Static):
    """What must be ready before a hazardous step opens; each line ticked with its number."""

    lines: tuple[str, ...] = ()
    _ticked: frozenset[int] = frozenset()
    _step: Step | None = None

    def show(self, step: Step) -> None:
        """Take the lines of a step, none ticked."""
        self.lines, self._step = preparation(step), step
        self.clear()

    def clear(self) -> None:
        """Take every tick away."""
        self._ticked = frozenset()
        self.update(self.told().drawn())

    def toggle(self, number: int) -> None:
        """Tick a line, or take its tick away."""
        if 1 <= number <= len(self.lines):
            self._ticked ^= {number}
            self.update(self.told().drawn())

    @property
    def is_ready(self) -> bool:
        """Whether every line is ticked."""
        return len(self._ticked) == len(self.lines)

    def told(self) -> Reasons:
        """Return the page of the step, with a box for each line that must be ready."""
        if self._step is None:
            return Reasons(())
        left, keys = len(self.lines) - len(self._ticked), keyset_of(self.app)
        ticks = (
            Line(line, f"{keys.pick(at - 1)} [{'x' if done else ' '}]", is_bold=not done)
            for at, line in enumerate(self.lines, 1)
            for done in (at in self._ticked,)
        )
        return Reasons(
            (
                *caution_blocks(self._step),
                Line("Make ready", is_bold=True),
                Line("Press the number of each line when it is done."),
                *ticks,
                Line(f"{left} left." if left else "All ready: Enter opens the step."),
                Line(""),
                *work_blocks(self._step),
            )
        )


class Countdown(Vertical):
    """The time left in large digits and in words; below zero, the time over; or a burst.

    The end of a dwell stands in the case. A burst is too short for that: it is counted here.
    """

    def __init__(self, clock: Clock, **more: Any) -> None:
        super().__init__(Static("", id="timer-words"), Digits("", id="timer-digits"), **more)
        self._clock = clock
        self._ends: datetime | None = None
        self._burst_ends: datetime | None = None
        self._idle = self._said = ""
        self._is_small = False
        self.bursts = 0

    def on_mount(self) -> None:
        """Look at the clock often enough to be right within a second."""
        self.set_interval(0.25, self.refresh_time)
        self.refresh_time()

    def show(self, ends: datetime | None, idle: str) -> None:
        """Count down to an end time, or say ``idle`` when there is none."""
        self._ends, self._idle = ends, idle
        if self.is_mounted:
            self.refresh_time()

    def set_small(self, *, is_small: bool) -> None:
        """Say the time in the words only, or in large digits too."""
        if is_small != self._is_small:
            self._is_small = is_small
            self.refresh_time()

    def begin_burst(self, seconds: float) -> None:
        """Start one burst, if none is on."""
        if self._burst_ends is None:
            self._burst_ends = self._clock() + timedelta(seconds=seconds)
            self.refresh_time()

    def break_burst(self) -> None:
        """Break a burst off; it does not count."""
        if self._burst_ends is not None:
            self._burst_ends = None
            self._idle = "Burst broken off"

    @property
    def seconds_left(self) -> float | None:
        """Seconds to the end, None without a timer."""
        ends = self._burst_ends or self._ends
        return None if ends is None else (ends - self._clock()).total_seconds()

    def refresh_time(self) -> None:
        """Show the difference to the clock."""
        left_s = self.seconds_left
        if self._burst_ends is not None and left_s is not None and left_s <= 0:
            self.bursts += 1
            key = keyset_of(self.app).sign("timer")
            self._idle = f"OFF. Bursts done: {self.bursts}. Look, then {key}"
            self._burst_ends, left_s = None, None
            self.app.bell()  # the bath is to be switched off
        digits = self.query_one("#timer-digits", Digits)
        digits.display = left_s is not None and not self._is_small
        self.set_class(left_s is not None and left_s <= 0, "-over")
        self.set_class(left_s is not None and 0 < left_s <= WARN_S, "-soon")
        if left_s is None:
            self._say(self._idle)
            return
        clock = clock_words(left_s)
        if digits.value != clock:
            digits.update(clock)
        said = f" {clock}" if self._is_small else ""
        if self._burst_ends is not None:
            self._say(f"BURST ON, left{said}")
        elif left_s <= 0:
            self._say(f"TIME IS OVER, since{said}")
        else:
            self._say(f"{'Nearly over' if left_s <= WARN_S else 'Running'}, left{said}")

    def _say(self, text: str) -> None:
        """Say it in words, in one line: nothing is laid out anew."""
        if text != self._said:
            self._said = text
            self.query_one("#timer-words", Static).update(Content(text), layout=False)


class OutcomeBar(Static):
    """One key for each outcome, always in view; says so when the step is not open yet."""

    def show(self, panel: str, step: Step | None) -> None:
        """Show the keys that record now: all that the step may come to only while it is open."""
        keys = keyset_of(self.app).outcome_keys()
        if panel != "work" or step is None:
            self.update(Content(CLOSED.get(panel, "").format(not_done=keys["not-done"])))
            return
        parts: list[Content | str | tuple[str, str]] = []
        for outcome, words in step.outcomes.items():
            parts += [(f" {keys[outcome]} ", "bold reverse"), f" {words}  "]
        self.update(Content.assemble(*parts))

    def acknowledge(self, words: str) -> None:
        """Say at once what is being recorded."""
        self.update(Content.styled(f"Recording: {words} ...", "bold"))
