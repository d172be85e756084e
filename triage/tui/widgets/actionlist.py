"""A list of rows whose Enter key stands in the footer."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Any

from rich.text import Text
from textual.content import Content
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from triage.tui.hanging import Hanging
from triage.tui.keysets import bind


@dataclass(frozen=True)
class Row:
    """One row of a list; a title is passed over by the cursor, one without an id has its place."""

    id: str
    prompt: Hanging | Content | Text
    is_title: bool = False


def title_row(text: str, row_id: str = "") -> Row:
    """Return a title among the rows."""
    return Row(row_id or f"title-{text}", Text(text, "bold underline"), is_title=True)


class Held(Option):
    """A row as the list holds it."""

    def __init__(self, row: Row) -> None:
        super().__init__(row.prompt, id=row.id or None, disabled=row.is_title)
        self.row = row


class ActionList(OptionList):
    """Rows to move through with the arrows; Enter acts on the one under the cursor."""

    BINDINGS = [
        bind("choose", "select"),
        bind("down", "cursor_down", show=False),
        bind("up", "cursor_up", show=False),
    ]

    def show(self, rows: Iterable[Row], at: str | None = None) -> None:
        """Show other rows; the cursor goes to ``at``, else it stays where it was."""
        held = [Held(row) for row in rows]
        before, was = self.highlighted_option, self.highlighted
        wanted = at or (before.id if before else None)
        here = next((n for n, each in enumerate(held) if wanted and each.id == wanted), was)
        self.set_options(held)
        if here is not None and here < len(held) and not held[here].disabled:
            self.highlighted = here
        else:
            self.action_first()

    @property
    def row(self) -> Any:
        """The row under the cursor, None if there is none."""
        return getattr(self.highlighted_option, "row", None)
