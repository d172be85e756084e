"""Beside the plan, where there is width: the step's whole page, or where on the animal it is."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widgets import Static

from triage.case.models import Case
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan
from triage.show.step import page_blocks, step_heading
from triage.tui.drawing import load_drawing
from triage.tui.planrows import PlanRow
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

    def show(self, row: PlanRow, case: Case, plan: Plan, knowledge: Knowledge) -> None:
        """Show the page of the row's step, else the animal and what the row says in full."""
        step = plan.step(row.step) if row.step else None
        taxon, animal = knowledge.taxa.get(case.taxon), self.query_one(AnimalDrawing)
        drawing = load_drawing(taxon.plan) if taxon is not None and step is None else None
        animal.display = drawing is not None
        animal.show(drawing, zone_states(case, plan))
        animal.choose(next((each.zone for each in plan.findings if each.id == row.finding), ""))
        told = Reasons((step_heading(step), *page_blocks(step))).drawn() if step else row.detail
        self.query_one("#aside-text", Static).update(
            Content(told) if isinstance(told, str) else told
        )
