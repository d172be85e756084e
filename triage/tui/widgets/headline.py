"""A headline in large letters where it fits, in plain bold ones where it does not."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from typing import Any

from textual import events
from textual.content import Content
from textual.widgets import Static

FONT = Path(__file__).parent.parent / "fonts" / "large.txt"
ROWS = 5
MOST_LINES = 2
# Below this height the stop points need the room.
LEAST_HEIGHT = 24
# Two rows of ink stand in one line of the terminal.
HALVES = {"..": " ", "#.": "\u2580", ".#": "\u2584", "##": "\u2588"}


@lru_cache
def large_letters() -> dict[str, tuple[str, ...]]:
    """Return the rows of each large letter."""
    letters: dict[str, tuple[str, ...]] = {}
    lines = FONT.read_text(encoding="utf-8").splitlines()
    for number, line in enumerate(lines):
        if line.startswith("[") and line.endswith("]") and len(line) == 3:
            letters[line[1]] = tuple(lines[number + 1 : number + 1 + ROWS])
    return letters


def large_line(text: str) -> tuple[str, ...] | None:
    """Return a text as three lines of large letters, None if a letter has no large form."""
    letters = large_letters()
    text = text.upper()
    if not text or any(sign not in letters for sign in text):
        return None
    rows = [".".join(letters[sign][row] for sign in text) for row in range(ROWS)]
    rows.append("." * len(rows[0]))
    return tuple(
        "".join(HALVES[above + below] for above, below in zip(rows[at], rows[at + 1], strict=True))
        for at in range(0, ROWS + 1, 2)
    )


def large_text(text: str, width: int, most_lines: int = MOST_LINES) -> str | None:
    """Return a text in large letters broken at spaces, None if it does not fit."""
    done: list[tuple[str, ...]] = []
    words = text.split()
    while words:
        if len(done) == most_lines:
            return None
        for count in range(len(words), 0, -1):
            line = large_line(" ".join(words[:count]))
            if line is None:
                return None
            if len(line[0]) <= width:
                done.append(line)
                words = words[count:]
                break
        else:
            return None
    return "\n".join("\n".join(line) for line in done)


class Headline(Static):
    """One short text, as large as the width allows.

    The large form is drawn with blocks, which say nothing to a screen reader; so what it says
    must stand in words elsewhere on the screen too.
    """

    def __init__(self, text: str = "", **more: Any) -> None:
        super().__init__("", **more)
        self._text = text
        self._is_large = True
        self._drawn = ""

    def set_large(self, *, is_large: bool) -> None:
        """Draw large where it fits, or plain to leave room."""
        self._is_large = is_large
        self._draw()

    def show(self, text: str) -> None:
        """Take another text."""
        self._text = text
        self._draw()

    @property
    def text(self) -> str:
        """The text in plain words."""
        return self._text

    def on_mount(self) -> None:
        """Draw once."""
        self._draw()

    def on_resize(self, event: events.Resize) -> None:
        """Draw again in the new width."""
        del event
        self._draw()

    def rows(self, *, is_large: bool) -> int:
        """Return how many lines the text takes, large where it can be or plain."""
        large = self._large() if is_large else None
        if large is not None:
            return large.count("\n") + 1
        return Content(self._text).get_height({}, max(1, self.container_size.width - 2))

    def _large(self) -> str | None:
        width = self.container_size.width - 2
        if width <= 0 or self.app.size.height < LEAST_HEIGHT:
            return None
        return large_text(self._text, width)

    def _draw(self) -> None:
        large = self._large() if self._is_large else None
        drawn = self._text if large is None else large
        if drawn != self._drawn:  # the same again would lay the whole screen out anew
            self._drawn = drawn
            self.set_class(large is None, "-plain")
            self.update(Content(drawn))
