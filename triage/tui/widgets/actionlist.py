"""A list whose Enter key stands in the footer."""

from __future__ import annotations

from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widgets import OptionList


class ActionList(OptionList):
    """Rows to move through with the arrows; Enter acts on the one under the cursor."""

    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "select", "Choose", key_display="Enter", id="choose"),
        Binding("down", "cursor_down", "Down", show=False, id="list.down"),
        Binding("up", "cursor_up", "Up", show=False, id="list.up"),
    ]
