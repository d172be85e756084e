"""What stands beside rows and questions: the page of a step, the animal, how a finding is read."""

from __future__ import annotations

from textual.app import ComposeResult
from textual.containers import VerticalScroll
from textual.content import Content
from textual.style import Style
from textual.widgets import Static

from triage.case.models import Case
from triage.knowledge.book import Knowledge
from triage.plan.model import FindingLine, Plan
from triage.show.step import page_blocks, step_heading
from triage.show.words import NOTICE_SIGNS, STATE_SIGNS, less_or, stage_word
from triage.tui.planrows import PlanRow
from triage.tui.shown import Reasons
from triage.tui.widgets.animal import AnimalDrawing, load_drawing, zone_states


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


BOLD = Style(bold=True)


def reading_of(line: FindingLine, conflicts: tuple[str, ...]) -> Content:
    """Return the reading of one finding in words."""
    parts: list[Content | str | tuple[str, Style]] = [("Reading now\n", BOLD)]
    others = [f"{other.name}, {less_or(other.standing)}" for other in line.alternatives]
    is_told = line.standing != "open"
    if is_told:
        parts += [(f"{line.deposit_name}\n", BOLD), f"{line.standing}\n"]
    elif line.deposit:
        others = [line.deposit_name, *(other.name for other in line.alternatives)]
    parts.append(f"{STATE_SIGNS[line.state]}\n")
    if others:
        parts.append(("\nIt could also be\n" if is_told else "\nIt could be\n", BOLD))
        parts += [f"{other}\n" for other in others]
    if conflicts:
        parts.append(("\n! These do not agree\n", BOLD))
        parts += [f"{sentence}\n" for sentence in conflicts]
    parts.append(f"\nFragility: {line.fragility}\n")
    if line.leave_it and is_told:
        parts.append(f"\nIf it stays: {line.leave_it}")
    return Content.assemble(*parts)


def reading_of_whole(plan: Plan) -> Content:
    """Return stage, gates and notices of the whole specimen in words."""
    parts: list[Content | str | tuple[str, Style]] = [
        ("Stage\n", BOLD),
        f"{stage_word(plan.stage)}\n",
    ]
    for notice in (*plan.refused, *plan.notices):
        parts.append((f"\n{NOTICE_SIGNS.get(notice.kind, notice.kind)}\n", BOLD))
        parts.append(f"{notice.text}\n")
    return Content.assemble(*parts)


class Reading(VerticalScroll):
    """The reading beside the questions; scrolls, never takes the keys."""

    can_focus = False

    def compose(self) -> ComposeResult:
        """Lay out one text."""
        yield Static("", id="reading-text")

    def show(self, plan: Plan, finding: str | None) -> None:
        """Show one finding, or the whole specimen."""
        line = next((line for line in plan.findings if line.id == finding), None)
        if line is None:
            text = reading_of_whole(plan)
        else:
            conflicts = [item.sentence for item in plan.conflicts if item.finding == finding]
            text = reading_of(line, tuple(conflicts))
        step = plan.next_step()
        if step is not None:
            text = Content.assemble(
                text, "\n\n", ("Next step as it stands\n", BOLD), f"{step.name}\n"
            )
        self.query_one("#reading-text", Static).update(text)
