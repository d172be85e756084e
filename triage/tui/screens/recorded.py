"""What was recorded and what the plan says now; no outcome key works here."""

from __future__ import annotations

from collections.abc import Iterable

from textual.content import Content
from textual.style import Style
from textual.widget import Widget

from triage.case.models import Case
from triage.plan.model import Plan, Step
from triage.show.words import OUTCOME_WORDS, amount_words, sentence, step_place
from triage.tui.keysets import bind
from triage.tui.screens.form import ask_reason
from triage.tui.screens.ofcase import Read
from triage.tui.screens.windows import Question, told
from triage.tui.words import no_step_words

BOLD = Style(bold=True)
# No reason in words.
GO_ON = ""


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


class RecordedScreen(Question[str | None]):
    """Show the record; the answer is to go on, the reason to take it back, None for the plan."""

    BINDINGS = [
        bind("choose", "go_on", "Go on"),
        bind("undo", "undo"),
        bind("leave", "leave", "Plan"),
    ]

    def __init__(self, read: Read, before: Step | None) -> None:
        super().__init__()
        self._read, self._before = read, before

    def parts(self) -> Iterable[Widget]:
        """Return the record."""
        read = self._read
        yield told(recorded_text(read.case, read.plan, self._before, self.sign("look")))

    def action_go_on(self) -> None:
        """Go on to the next step, or to the plan if there is none."""
        self.dismiss(GO_ON if self._read.plan.next_step() is not None else None)

    def action_undo(self) -> None:
        """Take it back by a correction with a reason."""
        kept = ("It is not deleted: a correction is written behind it.",)
        ask_reason(self, "Take the record back", kept, "What was wrong with it?", self.dismiss)
