"""The keys of the outcomes, always in view."""

from __future__ import annotations

from textual.content import Content
from textual.widgets import Static

from triage.show.words import OUTCOME_WORDS
from triage.tui.keysets import keyset_of
from triage.tui.words import OUTCOME_KEYS

CLOSED = {
    "ready": "The step is not open yet.   {not_done}  record: not done",
    "hold": "The step is not open yet: write what you see, or F9 goes back to the plan.",
}


class OutcomeBar(Static):
    """One key for each outcome; says so when the step is not open yet."""

    def on_mount(self) -> None:
        """Begin closed."""
        self.show("waiting")

    def show(self, panel: str) -> None:
        """Show the keys that record now: all of them only while the step is open."""
        keys = keyset_of(self.app)
        if panel != "work":
            told = CLOSED.get(panel, "").format(not_done=keys.outcomes[-1])
            self.update(Content(told))
            return
        parts: list[Content | str | tuple[str, str]] = []
        for key, (_, _, word) in zip(keys.outcomes, OUTCOME_KEYS, strict=True):
            parts += [(f" {key} ", "bold reverse"), f" {word}  "]
        self.update(Content.assemble(*parts))

    def acknowledge(self, outcome: str) -> None:
        """Say at once what is being recorded."""
        self.update(Content.styled(f"Recording: {OUTCOME_WORDS[outcome]} ...", "bold"))
