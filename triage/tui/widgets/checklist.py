"""What must be ready before a hazardous step opens; each line ticked with its number."""

from __future__ import annotations

from typing import Any

from textual.widgets import Static

from triage.plan.model import Step
from triage.show.blocks import Line
from triage.show.step import caution_blocks, preparation, work_blocks
from triage.tui.shown import Reasons


class Checklist(Static):
    """Lines with a box each; ready when every box is ticked."""

    def __init__(self, **more: Any) -> None:
        super().__init__("", **more)
        self.lines: tuple[str, ...] = ()
        self._ticked: set[int] = set()
        self._step: Step | None = None

    def show(self, step: Step) -> None:
        """Take the lines of a step, none ticked."""
        self.lines, self._step = preparation(step), step
        self.clear()

    def clear(self) -> None:
        """Take every tick away."""
        self._ticked = set()
        self._draw()

    def toggle(self, number: int) -> None:
        """Tick a line, or take its tick away."""
        if 1 <= number <= len(self.lines):
            self._ticked ^= {number}
            self._draw()

    @property
    def is_ready(self) -> bool:
        """Whether every line is ticked."""
        return len(self._ticked) == len(self.lines)

    def told(self) -> Reasons:
        """Return the page of the step, with a box for each line that must be ready."""
        if self._step is None:
            return Reasons(())
        left = len(self.lines) - len(self._ticked)
        ticks = (
            Line(line, f"{number % 10} [{'x' if done else ' '}]", is_bold=not done)
            for number, line in enumerate(self.lines, 1)
            for done in (number in self._ticked,)
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

    def _draw(self) -> None:
        self.update(self.told().drawn())
