"""The time of a step is over: of which specimen, where, and one key that goes there."""

from __future__ import annotations

from collections.abc import Callable
from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import Static

from triage.tui.keysets import bind
from triage.tui.screens.base import Question
from triage.tui.widgets.keysline import KeysLine

# A key that comes sooner was meant for the screen below [s].
STANDS_S = 0.5


class AlarmScreen(Question[bool]):
    """Stands until it is answered: go to the step, or leave it running over.

    No outcome is taken while it stands, and no key that was on its way when it came.
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        bind("choose", "go", "Go there"),
        bind("leave", "leave", "Later"),
    ]

    def __init__(self, words: str, pulse: Callable[[], float]) -> None:
        super().__init__()
        self._words = words
        self._pulse = pulse
        self._since = pulse()

    def compose(self) -> ComposeResult:
        """Lay out what is over."""
        with Vertical(classes="window"):
            yield Static(Content(self._words), classes="window-title")
        yield KeysLine()

    def _answer(self, answer: bool) -> None:
        if self._pulse() - self._since >= STANDS_S:
            self.dismiss(answer)

    def action_go(self) -> None:
        """Go to the step."""
        self._answer(True)

    def action_leave(self) -> None:
        """Let it wait; the title line goes on saying that it is over."""
        self._answer(False)
