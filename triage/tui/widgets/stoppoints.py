"""What to see that means stop: always in view while a step is worked on."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from triage.plan.model import StopPoint


class StopPoints(VerticalScroll):
    """The stop points of the step; what to do then stands behind the stop key."""

    can_focus = False

    def compose(self) -> ComposeResult:
        """Lay out one text."""
        yield Static("", id="stops-text")

    def show(self, points: tuple[StopPoint, ...]) -> None:
        """Show these stop points."""
        lines: list[Content | str | tuple[str, str]] = [("STOP (Esc) if you see\n", "bold")]
        lines += [(f"! {point.see}\n", "bold") for point in points]
        self.query_one("#stops-text", Static).update(Content.assemble(*lines))
