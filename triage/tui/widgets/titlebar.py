"""The top line: where one is, and what is running."""

from __future__ import annotations

import re
from typing import Any

from rich.cells import cell_len, set_cell_size
from textual import events
from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Static

DOTS = "..."
LEAST_NAME = 8


def fitted(place: str, width: int) -> str:
    """Return a place that fits a width in cells: the name is cut, what stands behind it stays.

    What stands behind the name of a case (stage, rung, pass) changes while one works; the name
    does not.
    """
    if cell_len(place) <= width:
        return place
    name, behind, rest = place, "", ""
    if found := re.search(r" · |: ", place):
        name, behind, rest = place[: found.start()], found[0], place[found.end() :]
    room = width - cell_len(behind + rest)
    if room < LEAST_NAME:
        return _cut(place, width)
    return f"{_cut(name, room)}{behind}{rest}"


def _cut(text: str, width: int) -> str:
    return f"{set_cell_size(text, max(0, width - len(DOTS))).rstrip(' ,;:')}{DOTS}"


class Place(Static):
    """Where one is, cut to the width there is."""

    def __init__(self, place: str, **more: Any) -> None:
        super().__init__(Content(place), **more)
        self._place = place

    def show(self, place: str) -> None:
        """Say where one is."""
        self._place = place
        self._draw()

    def on_resize(self, event: events.Resize) -> None:
        """Fit what is said into the new width."""
        del event
        self._draw()

    def _draw(self) -> None:
        width = self.content_size.width
        self.update(Content(fitted(self._place, width) if width else self._place))


class TitleBar(Horizontal):
    """Where one is on the left, the timer that ends first on the right."""

    def __init__(self, place: str = "", **more: Any) -> None:
        super().__init__(**more)
        self._place = place
        self._said = ""

    def compose(self) -> ComposeResult:
        """Lay out the two halves."""
        yield Place(self._place, id="place")
        yield Static("", id="running")

    def show_place(self, place: str) -> None:
        """Say where one is."""
        self._place = place
        if self.is_mounted:
            self.query_one("#place", Place).show(place)

    def show_running(self, text: str) -> None:
        """Say what is running."""
        if self.is_mounted and text != self._said:
            self._said = text
            self.query_one("#running", Static).update(Content(text))
