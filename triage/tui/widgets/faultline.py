"""What went wrong, said in place, in words, with what to do."""

from __future__ import annotations

from typing import Any

from textual.content import Content
from textual.widgets import Static


class FaultLine(Static):
    """Hidden until there is a fault to show; shows words, not only a colour."""

    def __init__(self, **more: Any) -> None:
        super().__init__("", **more)
        self.display = False
        self.text = ""

    def show(self, text: str) -> None:
        """Show a fault."""
        self.text = text
        self.update(Content(f"CANNOT DO THAT: {text}"))
        self.display = True

    def tell(self, text: str) -> None:
        """Say something that is no fault but must be seen."""
        self.text = text
        self.update(Content(f"NOTE: {text}"))
        self.display = True

    def clear(self) -> None:
        """Hide it again."""
        self.text = ""
        self.display = False
