"""What was recorded and what the plan says now; no outcome key works here."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import BindingType
from textual.content import Content
from textual.style import Style
from textual.widget import Widget

from triage.case.models import Case
from triage.plan.model import Plan, Step
from triage.show.words import OUTCOME_WORDS, amount_words, sentence, step_place
from triage.tui.keysets import bind
from triage.tui.screens.base import Served
from triage.tui.screens.form import reason_form
from triage.tui.screens.ofcase import Read
from triage.tui.screens.windows import Question, told
from triage.tui.services import Services
from triage.tui.widgets.faultline import FaultLine
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
        why = no_step_words(plan, look)
        parts.append((f"{sentence(why)}\n", BOLD))
        parts += [
            f"{notice.text}\n" for notice in plan.notices if notice.text.rstrip(".") not in why
        ]
    else:
        parts.append(("Next: ", BOLD))
        parts += [(f"{step.name}\n", BOLD), f"{step_place(step)}\n{step.because}\n"]
    return Content.assemble(*parts)


class RecordedScreen(Question[bool], Served):
    """Show the record; go on to the next step, take it back, or go to the plan."""

    BINDINGS: ClassVar[list[BindingType]] = [
        bind("choose", "go_on", "Go on"),
        bind("undo", "undo"),
        bind("leave", "leave", "Plan"),
    ]

    def __init__(self, services: Services, read: Read, before: Step | None) -> None:
        super().__init__()
        self.services = services
        self._read, self._before = read, before

    def parts(self) -> Iterable[Widget]:
        """Return the record."""
        yield FaultLine(id="fault")
        read = self._read
        yield told(recorded_text(read.case, read.plan, self._before, self.sign("look")))

    def action_go_on(self) -> None:
        """Go on to the next step, or to the plan if there is none."""
        self.dismiss(self._read.plan.next_step() is not None)

    def action_leave(self) -> None:
        """Go to the plan."""
        self.dismiss(False)

    def action_undo(self) -> None:
        """Take it back by a correction with a reason."""
        kept = ("It is not deleted: a correction is written behind it.",)
        form = reason_form("Take the record back", kept, "What was wrong with it?")
        self.ask(form, lambda filled: self._undo(filled["reason"]))

    def _undo(self, reason: str) -> None:
        workshop, case_id = self.services.workshop, self._read.case.id

        def act() -> tuple[Case, Plan]:
            case = workshop.undo(case_id, reason)
            return case, workshop.plan(case)

        def then(known: tuple[Case, Plan]) -> None:
            self.services.keep_shown(case_id, *known)
            self.dismiss(True)

        self.run_worker(self.served(act, then), group="service")

    def show_fault(self, text: str) -> None:
        """Show what went wrong."""
        self.query_one("#fault", FaultLine).show(text)
