"""One photo in half blocks, with its path in words above it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from rich.color import Color
from rich.style import Style
from rich.text import Text
from textual import events
from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Static

from triage.errors import TriageError
from triage.photos import Row, half_blocks

UPPER_HALF = "\u2580"


def drawn_rows(rows: tuple[Row, ...]) -> Text:
    """Return rows of colours as text in half blocks."""
    text = Text(no_wrap=True)
    for number, row in enumerate(rows):
        if number:
            text.append("\n")
        for upper, lower in row:
            style = Style(color=Color.from_rgb(*upper), bgcolor=Color.from_rgb(*lower))
            text.append(UPPER_HALF, style)
    return text


class PhotoView(Vertical):
    """Words first; the picture is an addition where the terminal has colours."""

    def __init__(self, **more: Any) -> None:
        super().__init__(**more)
        self._place: Path | None = None
        self._rows = 0

    def compose(self) -> ComposeResult:
        """Lay out the words and the picture."""
        yield Static("", classes="photo-words")
        yield Static("", classes="photo-picture")

    def show(self, words: str, place: Path | None) -> None:
        """Show what is said about a photo and, if it is there, the photo."""
        self.query_one(".photo-words", Static).update(Content(words))
        self._place = place
        self._draw()

    def on_resize(self, event: events.Resize) -> None:
        """Draw again in the new size."""
        del event
        self._draw()

    def _draw(self) -> None:
        picture = self.query_one(".photo-picture", Static)
        columns = self.size.width - 2
        rows = self.size.height - self.query_one(".photo-words").size.height - 1
        if self._place is None or columns < 1 or rows < 1:
            picture.update("")
            return
        if self.app.no_color:
            picture.update(Content("Not drawn: colours are off. Open the file to see it."))
            return
        try:
            picture.update(drawn_rows(half_blocks(self._place, columns, rows)))
        except TriageError as fault:
            picture.update(Content(f"Not drawn: {fault.line()}"))
