"""The top line: where one is, and what is running."""

from __future__ import annotations

from typing import Any

from textual.app import ComposeResult
from textual.containers import Horizontal
from textual.content import Content
from textual.widgets import Static


class TitleBar(Horizontal):
    """Where one is on the left, the timer that ends first on the right."""

    def __init__(self, place: str = "", **more: Any) -> None:
        super().__init__(**more)
        self._place = place
        self._said = ""

    def compose(self) -> ComposeResult:
        """Lay out the two halves."""
        yield Static(Content(self._place), id="place")
        yield Static("", id="running")

    def show_place(self, place: str) -> None:
        """Say where one is."""
        self._place = place
        if self.is_mounted:
            self.query_one("#place", Static).update(Content(place))

    def show_running(self, text: str) -> None:
        """Say what is running."""
        if self.is_mounted and text != self._said:
            self._said = text
            self.query_one("#running", Static).update(Content(text))
