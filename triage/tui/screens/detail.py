"""Something to read: why, what was ruled out, an entry of the handbook, the keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from triage.tui.keysets import bind
from triage.tui.screens.base import Question
from triage.tui.widgets.keysline import KeysLine

if TYPE_CHECKING:
    from triage.tui.shown import Reasons


class DetailScreen(Question[None]):
    """Show a text that scrolls; ``q`` or Enter goes back."""

    BINDINGS: ClassVar[list[BindingType]] = [
        bind("leave", "leave"),
        bind("choose", "leave", "Back", show=False),
        bind("down", "scroll(1)", show=False),
        bind("up", "scroll(-1)", show=False),
        bind("further", "scroll(10)", show=False),
        bind("back-up", "scroll(-10)", show=False),
    ]

    def __init__(self, title: str, text: Content | Reasons) -> None:
        super().__init__()
        self._title = title
        self._text = text

    @property
    def plain(self) -> str:
        """The text in plain words."""
        return self._text.plain

    def compose(self) -> ComposeResult:
        """Lay out title and text."""
        with Vertical(classes="window -tall"):
            yield Static(Content(self._title), classes="window-title")
            with VerticalScroll(classes="window-told", can_focus=False):
                yield Static(self._text if isinstance(self._text, Content) else self._text.drawn())
        yield KeysLine()

    def action_scroll(self, lines: int) -> None:
        """Scroll by some lines."""
        self.query_one(VerticalScroll).scroll_relative(y=lines, animate=False)

    def action_leave(self) -> None:
        """Go back."""
        self.dismiss(None)
