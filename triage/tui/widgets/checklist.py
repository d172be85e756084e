"""What must be ready before a hazardous step opens; each line ticked with its number."""

from __future__ import annotations

from typing import Any

from textual.content import Content
from textual.widgets import Static

from triage.plan.model import Step
from triage.plantext import preparation


class Checklist(Static):
    """Lines with a box each; ready when every box is ticked."""

    def __init__(self, **more: Any) -> None:
        super().__init__("", **more)
        self.lines: tuple[str, ...] = ()
        self._ticked: set[int] = set()

    def show(self, step: Step) -> None:
        """Take the lines of a step, none ticked."""
        self.lines = preparation(step)
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

    def _draw(self) -> None:
        parts: list[Content | str | tuple[str, str]] = [
            ("MAKE READY\n", "bold"),
            "Press the number of each line when it is done.\n\n",
        ]
        for number, line in enumerate(self.lines, 1):
            box = "[x]" if number in self._ticked else "[ ]"
            parts.append((f"{number} {box} {line}\n", "bold" if box == "[ ]" else ""))
        left = len(self.lines) - len(self._ticked)
        parts.append(f"\n{left} left." if left else "\nAll ready: Enter opens the step.")
        self.update(Content.assemble(*parts))
