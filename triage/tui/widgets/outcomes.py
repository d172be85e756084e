"""The keys of the outcomes, always in view."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from triage.tui.words import OUTCOME_KEYS


class OutcomeBar(Static):
    """One key for each outcome; says so when the step is not open yet."""

    def on_mount(self) -> None:
        """Begin closed."""
        self.show(is_open=False)

    def show(self, *, is_open: bool) -> None:
        """Show the keys that record now."""
        if not is_open:
            self.update(Content("Step not open yet.  x  not done"))
            return
        parts: list[Content | str | tuple[str, str]] = []
        for key, _, word in OUTCOME_KEYS:
            parts += [(f" {key} ", "bold reverse"), f" {word}   "]
        self.update(Content.assemble(*parts))
