"""Choose one of several things with one key, the mouse, or the list."""

from __future__ import annotations

from collections.abc import Sequence
from typing import ClassVar

from textual import events
from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical
from textual.content import Content
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from triage.tui.hanging import hanging
from triage.tui.keysets import bind, keyset_of
from triage.tui.screens.base import Question
from triage.tui.widgets.actionlist import ActionList
from triage.tui.widgets.keysline import KeysLine


class ChoiceScreen(Question[str | None]):
    """Ask for one of several things; the answer is its id, None if left.

    Parameters
    ----------
    title   what is asked
    choices id and text of each, in order
    """

    BINDINGS: ClassVar[list[BindingType]] = [
        bind("leave", "leave", "Back without choosing"),
    ]

    def __init__(self, title: str, choices: Sequence[tuple[str, str]]) -> None:
        super().__init__()
        self._title = title
        self._choices = tuple(choices)

    def compose(self) -> ComposeResult:
        """Lay out the question and its answers."""
        keys = keyset_of(self.app)
        with Vertical(classes="window"):
            yield Static(Content(self._title), classes="window-title")
            yield ActionList(
                *(
                    Option(hanging(keys.pick(index), text, width=3), id=choice)
                    for index, (choice, text) in enumerate(self._choices)
                ),
                id="choices",
            )
        yield KeysLine()

    def on_key(self, event: events.Key) -> None:
        """Take the key of a choice."""
        sign = event.character or ""
        at = keyset_of(self.app).answers.find(sign) if sign else -1
        if 0 <= at < len(self._choices):
            event.stop()
            self.dismiss(self._choices[at][0])

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Take the choice under the cursor."""
        self.dismiss(event.option.id)

    def action_leave(self) -> None:
        """Answer nothing."""
        self.dismiss(None)
