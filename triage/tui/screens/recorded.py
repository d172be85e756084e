"""What was recorded and what the plan says now; no outcome key works here."""

from __future__ import annotations

from typing import ClassVar

from textual.app import ComposeResult
from textual.binding import BindingType
from textual.containers import Vertical, VerticalScroll
from textual.content import Content
from textual.style import Style
from textual.widgets import Static

from triage.case.models import Case
from triage.plan.model import Plan, Step
from triage.show.words import OUTCOME_WORDS, amount_words, sentence, step_place
from triage.tui.keysets import bind
from triage.tui.screens.base import Question, Served
from triage.tui.screens.form import reason_form
from triage.tui.services import Services
from triage.tui.widgets.faultline import FaultLine
from triage.tui.widgets.keysline import KeysLine
from triage.tui.words import no_step_words

BOLD = Style(bold=True)


def recorded_text(case: Case, plan: Plan, before: Step | None, look: str) -> Content:
    """Return the last record and what follows from it, in words."""
    last = case.attempts[-1]
    minutes = "" if last.minutes is None else f", {last.minutes:g} min"
    parts: list[Content | str | tuple[str, Style]] = [
        (f"Recorded: {OUTCOME_WORDS.get(last.outcome, last.outcome)}\n", BOLD),
        (
            f"{before.name if before else last.method or last.step}, "
            f"{amount_words(last.amount_ml)}{minutes}\n\n"
        ),
    ]
    step = plan.next_step()
    if plan.held:
        parts.append(("X THE CASE IS HELD\n", BOLD))
        parts += [f"{hold.sentence}\n" for hold in plan.held]
    elif step is None:
        told = no_step_words(plan, look)
        parts.append((f"{sentence(told)}\n", BOLD))
        parts += [
            f"{notice.text}\n" for notice in plan.notices if notice.text.rstrip(".") not in told
        ]
    else:
        parts.append(("Next: ", BOLD))
        parts += [(f"{step.name}\n", BOLD), f"{step_place(step)}\n{step.because}\n"]
    return Content.assemble(*parts)


class RecordedScreen(Question[bool], Served):
    """Show the record; Enter goes on to the next step, ``z`` undoes, ``q`` goes to the plan."""

    BINDINGS: ClassVar[list[BindingType]] = [
        bind("choose", "go_on", "Go on"),
        bind("undo", "undo"),
        bind("leave", "leave", "Plan"),
    ]

    def __init__(self, services: Services, case: Case, plan: Plan, before: Step | None) -> None:
        super().__init__()
        self.services = services
        self._case = case
        self._plan = plan
        self._before = before

    def compose(self) -> ComposeResult:
        """Lay out the record."""
        with Vertical(classes="window"):
            yield FaultLine(id="fault")
            with VerticalScroll(classes="window-told", can_focus=False):
                yield Static(recorded_text(self._case, self._plan, self._before, self.sign("look")))
        yield KeysLine()

    def action_go_on(self) -> None:
        """Go on to the next step, or to the plan if there is none."""
        self.dismiss(self._plan.next_step() is not None)

    def action_leave(self) -> None:
        """Go to the plan."""
        self.dismiss(False)

    def action_undo(self) -> None:
        """Undo by a correction with a reason."""
        told = ("It is not deleted: a correction is written behind it.",)
        form = reason_form("Undo the last record", told, "What was wrong with it?")
        self.ask(form, lambda filled: self._undo(filled["reason"]))

    def _undo(self, reason: str) -> None:
        act = self.served(lambda: self._taken_back(reason), lambda read: self._undone(*read))
        self.run_worker(act, group="service")

    def _undone(self, case: Case, plan: Plan) -> None:
        self.services.keep_shown(self._case.id, case, plan)
        self.dismiss(True)

    def show_fault(self, text: str) -> None:
        """Show what went wrong."""
        self.query_one("#fault", FaultLine).show(text)

    def _taken_back(self, reason: str) -> tuple[Case, Plan]:
        workshop = self.services.workshop
        case = workshop.undo(self._case.id, reason)
        return case, workshop.plan(case)
