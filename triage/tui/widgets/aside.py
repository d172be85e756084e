"""Beside the plan, where there is width: the step's whole page, or where on the animal it is."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from triage.case.models import Case
from triage.plan.model import Plan, Step
from triage.show.step import page_blocks, step_heading
from triage.tui.drawing import Drawing
from triage.tui.shown import Reasons
from triage.tui.widgets.animal import AnimalDrawing
from triage.tui.zonestates import zone_states


class Aside(VerticalScroll):
    """What belongs to the row under the cursor; scrolls, never takes the keys."""

    can_focus = False

    def compose(self) -> ComposeResult:
        """Lay out drawing and text."""
        yield AnimalDrawing(None, id="aside-animal")
        yield Static("", id="aside-text")

    def show_step(self, step: Step) -> None:
        """Show the page of a step."""
        self.query_one(AnimalDrawing).display = False
        told = Reasons((step_heading(step), *page_blocks(step)))
        self.query_one("#aside-text", Static).update(told.drawn())

    def show_animal(
        self, drawing: Drawing | None, case: Case, plan: Plan, zone: str, told: str
    ) -> None:
        """Show the animal with what is known of its zones, and what the row says in full."""
        animal = self.query_one(AnimalDrawing)
        animal.display = drawing is not None
        animal.show(drawing, zone_states(case, plan))
        animal.choose(zone)
        self.query_one("#aside-text", Static).update(Content(told))
