"""Something to read: why, what was ruled out, an entry of the handbook, the keys."""

from __future__ import annotations

from typing import TYPE_CHECKING, ClassVar

from textual.app import ComposeResult
from textual.binding import Binding, BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.widgets import Static

from triage.tui.screens.base import Question
from triage.tui.widgets.keysline import KeysLine

if TYPE_CHECKING:
    from triage.tui.shown import Reasons


class DetailScreen(Question[None]):
    """Show a text that scrolls; ``q`` or Enter goes back."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("q,f9", "leave", "Back", id="leave"),
        Binding("enter", "leave", "Back", show=False),
        Binding("down", "scroll(1)", "Down", show=False),
        Binding("up", "scroll(-1)", "Up", show=False),
        Binding("pagedown,space", "scroll(10)", "Further", show=False),
        Binding("pageup", "scroll(-10)", "Back up", show=False),
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
