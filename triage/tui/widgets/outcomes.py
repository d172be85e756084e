"""The keys of the outcomes, always in view."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from triage.tui.words import OUTCOME_KEYS

CLOSED = {
    "ready": "The step is not open yet.   x  record: not done",
    "hold": "The step is not open yet: write what you see, or F9 goes back to the plan.",
}


class OutcomeBar(Static):
    """One key for each outcome; says so when the step is not open yet."""

    def on_mount(self) -> None:
        """Begin closed."""
        self.show("waiting")

    def show(self, panel: str) -> None:
        """Show the keys that record now: all of them only while the step is open."""
        if panel != "work":
            self.update(Content(CLOSED.get(panel, "")))
            return
        parts: list[Content | str | tuple[str, str]] = []
        for key, _, word in OUTCOME_KEYS:
            parts += [(f" {key} ", "bold reverse"), f" {word}  "]
        self.update(Content.assemble(*parts))
