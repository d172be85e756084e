"""The first look at a specimen: one checklist, a key a line, recorded in one go."""

from __future__ import annotations

from collections.abc import Iterable

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from triage.case.models import Case
from triage.knowledge.book import Knowledge
from triage.knowledge.specimen import Question
from triage.plan.questions import is_put
from triage.tui.keysets import bind, keyset_of, pick
from triage.tui.screens.ofcase import CaseScreen, Read
from triage.tui.services import Services

# Lines with a key of their own.
MOST = 12


def to_look_at(knowledge: Knowledge, case: Case) -> tuple[Question, ...]:
    """Return what is looked at on every such specimen and not answered yet, as it is asked."""
    asked = (
        each
        for each in knowledge.questions.values()
        if each.usual is not None
        and each.id not in case.answers
        and is_put(knowledge, case, None, each.id)
    )
    return tuple(sorted(asked, key=lambda each: each.rank))[:MOST]


class IntakeScreen(CaseScreen):
    """One line a question: its key goes through the answers, the usual one first."""

    PLACE = "First look"
    CSS = "#intake-lines { height: auto; padding: 0 1; }"
    BINDINGS = [
        *pick("turn", MOST, start=0),
        bind("choose", "keep", "Record"),
        bind("rest", "usual"),
    ]

    questions: tuple[Question, ...] = ()

    def __init__(self, services: Services, case_id: str) -> None:
        super().__init__(services, case_id)
        self.given: dict[str, str] = {}

    def _parts(self) -> Iterable[Widget]:
        yield VerticalScroll(Static("", id="intake-lines"), id="intake")

    def take(self, read: Read) -> None:
        """Show what is not answered yet."""
        case = read.case
        self.show_case(case, read.plan)
        self.questions = to_look_at(self.knowledge, case)
        self.show_place(f"{case.title or case.id}: the first look, nothing is touched")
        self._draw()

    def _draw(self) -> None:
        keys = keyset_of(self.app)
        rest = keys.sign("rest")
        head = f"A line's key takes its answer;  {rest}  I looked at all of it, as each line says\n"
        parts: list[str | tuple[str, str]] = [head]
        for at, question in enumerate(self.questions):
            answer = self.given.get(question.id)
            text = next(a.text for a in question.answers if a.id == (answer or question.usual))
            key = keys.pick(at)
            said = f"[x] {text}" if answer else f"[ ] {text}?"
            parts.append((f"{key} {question.ask}  {said}\n", "bold" if answer else ""))
            parts.append(f"  {question.how}\n")
        if not self.questions:
            parts = ["Everything was looked at before."]
        self.query_one("#intake-lines", Static).update(Content.assemble(*parts))

    def keys_changed(self) -> None:
        """Show the other keys."""
        self._draw()

    def action_turn(self, at: int) -> None:
        """Go to the next answer of a line; behind the last one it is open again."""
        if at >= len(self.questions):
            return
        question = self.questions[at]
        answers = sorted((a.id for a in question.answers), key=lambda a: a != question.usual)
        now = self.given.pop(question.id, None)
        following = answers.index(now) + 1 if now else 0
        if following < len(answers):
            self.given[question.id] = answers[following]
        self.clear_fault()
        self._draw()

    def action_usual(self) -> None:
        """Take every line that has no answer yet as it says: each was looked at."""
        for question in self.questions:
            self.given.setdefault(question.id, question.usual or "")
        self._draw()

    def action_keep(self) -> None:
        """Record what is answered; what is open stays open and is asked when it matters."""
        given = dict(self.given)
        if not given:
            self.show_fault("nothing is answered yet; press the key of each line you looked at")
            return
        self.change(lambda: self.workshop.answer_all(self.case_id, None, given), self.dismiss)
