"""What must be ready before a hazardous step opens; each line ticked with its number."""

from __future__ import annotations

from typing import Any

from textual import events
from textual.content import Content
from textual.geometry import Region
from textual.widget import Widget
from textual.widgets import Static

from triage.plan.model import Step
from triage.show.step import preparation
from triage.tui.keysets import keyset_of


class Checklist(Static):
    """Lines with a box each; ready when every box is ticked."""

    def __init__(self, **more: Any) -> None:
        super().__init__("", **more)
        self.lines: tuple[str, ...] = ()
        self._ticked: set[int] = set()
        self._drawn = Content("")

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

    def on_resize(self, event: events.Resize) -> None:
        """Fold what does not fit in the new size."""
        del event
        self._draw()
        # A text that changes while sizes are given out is not given room anew by itself.
        self.call_after_refresh(self.refresh, layout=True)

    def told(self, *, is_folded: bool) -> Content:
        """Return all lines with their boxes; folded, only the next one to be ticked in full."""
        parts: list[Content | str | tuple[str, str]] = [
            ("MAKE READY\n", "bold"),
            "Press the number of each line when it is done.\n\n",
        ]
        waiting = [at for at in range(1, len(self.lines) + 1) if at not in self._ticked]
        for number, line in enumerate(self.lines, 1):
            box = "[x]" if number in self._ticked else "[ ]"
            row = f"{number % 10} {box} {line}"
            if is_folded and number != (waiting or [0])[0]:
                row = cut(row, self._width())
            parts.append((f"{row}\n", "bold" if box == "[ ]" else ""))
        parts.append(f"\n{len(waiting)} left." if waiting else "\nAll ready: Enter opens the step.")
        if is_folded:
            parts.append(f" {keyset_of(self.app).sign('walk.details')}  all in full")
        return Content.assemble(*parts)

    def next_alone(self) -> Content:
        """Return the next line to be ticked alone, where no more than that fits."""
        waiting = [at for at in range(1, len(self.lines) + 1) if at not in self._ticked]
        if not waiting:
            return self.told(is_folded=True)
        number = waiting[0]
        key = keyset_of(self.app).sign("walk.details")
        return Content.assemble(
            (f"MAKE READY, {len(waiting)} left. ", "bold"),
            f"{key}  all in full\n\n",
            (f"{number % 10} [ ] {self.lines[number - 1]}", "bold"),
        )

    def _room(self) -> Region:
        parent = self.parent
        return parent.scrollable_content_region if isinstance(parent, Widget) else Region()

    def _width(self) -> int:
        return self._room().width

    def _draw(self) -> None:
        room = self._room()
        text = self.told(is_folded=False)
        if room.height and _rows(text, room.width) > room.height:
            text = self.told(is_folded=True)
            if _rows(text, room.width) > room.height:
                text = self.next_alone()
        if text != self._drawn:
            self._drawn = text
            self.update(text)


def _rows(text: Content, width: int) -> int:
    return text.get_height({}, max(1, width))


def cut(text: str, width: int) -> str:
    """Return a text that ends in dots where it is longer than a width."""
    return text if len(text) <= width else f"{text[: max(0, width - 3)].rstrip()}..."
