"""Ask for a reason in writing."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Input, Static

from triage.tui.screens.base import Question
from triage.tui.widgets.faultline import FaultLine
from triage.tui.widgets.keysline import KeysLine

FEWEST_LETTERS = 3


def is_in_words(text: str) -> bool:
    """Whether a text has enough letters to say something."""
    return sum(sign.isalpha() for sign in text) >= FEWEST_LETTERS


class ReasonScreen(Question[str | None]):
    """Ask for a reason; an empty one is not taken.

    Parameters
    ----------
    title  what is decided
    told   what to know before deciding, one line each
    label  what to write
    """

    AUTO_FOCUS = "#reason"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f9", "leave", "Back without writing", key_display="F9"),
    ]

    def __init__(self, title: str, told: tuple[str, ...], label: str) -> None:
        super().__init__()
        self._title = title
        self._told = told
        self._label = label

    def compose(self) -> ComposeResult:
        """Lay out what is known, and the line to write on."""
        with Vertical(classes="window"):
            yield Static(Content(self._title), classes="window-title")
            with VerticalScroll(classes="window-told"):
                yield Static(Content("\n".join(self._told)))
            yield FaultLine(id="fault")
            yield Static(Content(f"{self._label} (Enter writes it, F9 goes back)"))
            yield Input(id="reason", placeholder="in your own words")
        yield KeysLine()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Take the reason if it says something."""
        if is_in_words(event.value):
            self.dismiss(event.value.strip())
        else:
            self.query_one("#fault", FaultLine).show("no reason is written; write it in words")

    def action_leave(self) -> None:
        """Answer nothing."""
        self.dismiss(None)
