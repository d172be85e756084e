"""Ask for one value to be typed."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Input, Static

from triage.tui.screens.base import Question
from triage.tui.widgets.keysline import KeysLine


class EntryScreen(Question[str | None]):
    """Ask for one value; Enter takes it, an empty one means not known."""

    AUTO_FOCUS = "#value"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("f9", "leave", "Back, change nothing", key_display="F9")
    ]

    def __init__(self, ask: str, value: str) -> None:
        super().__init__()
        self._ask = ask
        self._value = value

    def compose(self) -> ComposeResult:
        """Lay out the question and the line."""
        with Vertical(classes="window"):
            yield Static(Content(self._ask), classes="window-title")
            yield Input(self._value, id="value")
        yield KeysLine()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Take the value."""
        self.dismiss(event.value.strip())

    def action_leave(self) -> None:
        """Change nothing."""
        self.dismiss(None)
