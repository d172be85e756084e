"""What must be ready before a hazardous step opens; each line ticked with its number."""

from __future__ import annotations

from typing import Any

from textual.content import Content
from textual.widgets import Static

from triage.plan.model import Step
from triage.show.step import preparation, protect_blocks, work_blocks
from triage.tui.shown import content_of


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

    def told(self) -> Content:
        """Return the page of the step, with a box for each line that must be ready."""
        if self._step is None:
            return Content("")
        left = len(self.lines) - len(self._ticked)
        parts: list[Content | str | tuple[str, str]] = [
            content_of(protect_blocks(self._step)),
            ("MAKE READY\n", "bold"),
            "Press the number of each line when it is done.\n",
        ]
        for number, line in enumerate(self.lines, 1):
            box = "[x]" if number in self._ticked else "[ ]"
            parts.append((f"{number % 10} {box} {line}\n", "bold" if box == "[ ]" else ""))
        parts.append(f"{left} left.\n\n" if left else "All ready: Enter opens the step.\n\n")
        return Content.assemble(*parts, content_of(work_blocks(self._step)))

    def _draw(self) -> None:
        self.update(self.told())
