"""One question at a time, one key each, with the reading of the finding beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.style import Style
from textual.widget import Widget
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from triage.case.models import Case
from triage.plan.model import FindingLine, Plan, QuestionLine
from triage.plantext import zone_words
from triage.tui.hanging import hanging
from triage.tui.keysets import WORDS, keyset_of
from triage.tui.messages import CaseChanged
from triage.tui.screens.base import CHANGED_OUTSIDE, CaseScreen
from triage.tui.screens.choice import ChoiceScreen
from triage.tui.screens.detail import DetailScreen
from triage.tui.screens.reason import ReasonScreen
from triage.tui.services import Services
from triage.tui.widgets.actionlist import ActionList
from triage.tui.widgets.reading import Reading

BOLD = Style(bold=True)
CANNOT_TELL = "cannot-tell"
ANSWER_KEYS = WORDS.answers
RISK_WORDS = {
    "none": "looking only",
    "touch": "needs a touch",
    "micro-test": "needs a small test on a hidden spot",
}
DONE = (
    "Nothing more to ask that would change the plan.\n\n"
    "{leave}  back to the zones, then {leave} again for the plan\n"
    "{before}  back to the last question\n"
    "{name}  name the deposit yourself"
)


class QuestionScreen(CaseScreen):
    """Ask what would still help, about one finding or about the whole specimen."""

    PLACE = "Questions"
    BINDINGS: ClassVar[list[BindingType]] = [
        *(
            Binding(key, f"answer({number})", "Answer", show=False, id=f"answer.{number}")
            for number, key in enumerate(ANSWER_KEYS, 1)
        ),
        Binding("u,0", "cannot_tell", "Can't tell", id="question.cannot-tell"),
        Binding("w", "why", "Why", id="question.why"),
        Binding("b", "back", "Before", id="question.before"),
        Binding("e", "name", "Name it", id="question.name"),
        Binding("l", "accept", "Leave as it is", show=False, id="question.accept"),
        Binding("q", "leave", "Zones", id="leave"),
    ]

    def __init__(self, services: Services, case_id: str, finding: str | None) -> None:
        super().__init__(services, case_id)
        self.finding = finding
        self.plan: Plan | None = None
        self.question: QuestionLine | None = None
        self._asked: list[QuestionLine] = []
        self._busy = True

    def parts(self) -> Iterable[Widget]:
        """Return question and reading."""
        yield Horizontal(
            VerticalScroll(
                Static("", id="ask"),
                ActionList(id="answers"),
                Static("", id="ask-cost"),
                id="asking",
            ),
            Reading(id="reading"),
            id="questioning",
        )

    def on_mount(self) -> None:
        """Read the case."""
        self.serve(self._read, lambda read: self._take(*read))

    def _read(self) -> tuple[Case, Plan]:
        case = self.services.workshop.load(self.case_id)
        return case, self.services.workshop.plan(case)

    def _take(self, case: Case, plan: Plan) -> None:
        self.case, self.plan = case, plan
        self._busy = False
        self.post_message(CaseChanged(case))
        self.query_one(Reading).show(plan, self.finding)
        asked = {question.question for question in self._asked}
        waiting = [
            question
            for question in plan.questions
            if question.finding == self.finding and question.question not in asked
        ]
        self._put(waiting[0] if waiting else None)
        self.show_place(f"{case.title or case.id}: {self._where()}")

    def changed_outside(self) -> None:
        """Ask what the file as it is now leaves open."""

        def then(read: tuple[Case, Plan]) -> None:
            self._take(*read)
            self.tell(CHANGED_OUTSIDE)

        self.serve(self._read, then)

    def _where(self) -> str:
        line = self._line()
        return zone_words(line.zone_name, line.side) if line else "whole specimen"

    def _line(self) -> FindingLine | None:
        found = self.plan.findings if self.plan else ()
        return next((line for line in found if line.id == self.finding), None)

    def _put(self, question: QuestionLine | None) -> None:
        self.question = question
        keys = keyset_of(self.app)
        answers = self.query_one("#answers", OptionList)
        answers.display = question is not None
        if question is None:
            told = DONE.format(
                leave=keys.sign("leave"),
                before=keys.sign("question.before"),
                name=keys.sign("question.name"),
            )
            self.query_one("#ask", Static).update(Content(told))
            self.query_one("#ask-cost", Static).update("")
            return
        self.query_one("#ask", Static).update(Content.styled(question.ask, "bold"))
        given, untold = self._given(question), keys.sign("question.cannot-tell")
        answers.set_options(
            [
                *(
                    Option(
                        hanging(keys.answers[at : at + 1], text, *_mark(given == answer), width=3),
                        id=answer,
                    )
                    for at, (answer, text) in enumerate(question.answers)
                ),
                Option(hanging(untold, "cannot tell", width=3), id=CANNOT_TELL),
            ]
        )
        answers.focus()
        answers.highlighted = None
        risk = RISK_WORDS.get(question.risk, question.risk)
        self.query_one("#ask-cost", Static).update(
            Content(f"{risk}, about {question.seconds} s.   {keys.sign('question.why')}  why ask")
        )

    def _given(self, question: QuestionLine) -> str | None:
        if self.case is None:
            return None
        held = self.case.answers if self.finding is None else self.case.finding(self.finding).signs
        return held.get(question.question)

    def action_answer(self, number: int) -> None:
        """Give the answer with this number."""
        if self.question and number <= len(self.question.answers):
            self._give(self.question.answers[number - 1][0])

    def action_cannot_tell(self) -> None:
        """Say that it cannot be told."""
        self._give(None)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Give the answer under the cursor."""
        self._give(None if event.option.id == CANNOT_TELL else event.option.id)

    def _give(self, answer: str | None) -> None:
        question = self.question
        if question is None or self._busy:
            return
        self._busy = True
        self._acknowledge(answer)
        workshop, finding = self.services.workshop, self.finding

        def act() -> tuple[Case, Plan]:
            if finding is None:
                case = workshop.answer(self.case_id, question.question, answer)
            else:
                case = workshop.sign(self.case_id, finding, question.question, answer)
            return case, workshop.plan(case)

        def then(read: tuple[Case, Plan]) -> None:
            self._asked.append(question)
            self._take(*read)

        self.serve(act, then)

    def _acknowledge(self, answer: str | None) -> None:
        """Mark the answer at once: recording it and planning anew take a moment longer."""
        answers = self.query_one("#answers", OptionList)
        answers.highlighted = answers.get_option_index(answer or CANNOT_TELL)

    def keys_changed(self) -> None:
        """Show the question with its other keys."""
        self._put(self.question)

    def show_fault(self, text: str) -> None:
        """Show the fault and take answers again."""
        self._busy = False
        super().show_fault(text)

    def action_back(self) -> None:
        """Go back one question; its answer may be given again."""
        if self._asked and not self._busy:
            self._put(self._asked.pop())

    def action_why(self) -> None:
        """Say why this is asked, and how to find out safely."""
        if self.question is not None:
            text = Content.assemble(
                ("Why this is asked\n", BOLD),
                f"{self.question.because}\n\n",
                ("How to find out\n", BOLD),
                self.question.how,
            )
            self.app.push_screen(DetailScreen(self.question.ask, text))

    def action_name(self) -> None:
        """Name the deposit oneself."""
        if self.finding is None:
            self.show_fault("the whole specimen has no deposit; choose a zone first")
            return
        deposits = self.services.workshop.knowledge.deposits.values()
        self.app.push_screen(
            ChoiceScreen(
                "What do you take it to be?",
                [("", "no name of my own"), *((deposit.id, deposit.name) for deposit in deposits)],
            ),
            self._named,
        )

    def _named(self, deposit: str | None) -> None:
        finding = self.finding
        if deposit is None or finding is None:
            return
        self._act(
            lambda: self.services.workshop.name_deposit(self.case_id, finding, deposit or None)
        )

    def action_accept(self) -> None:
        """Leave the finding as it is, with a reason."""
        if self.finding is None:
            self.show_fault("only a finding can be left as it is; choose a zone first")
            return
        self.app.push_screen(
            ReasonScreen("Leave this finding as it is", (self._where(),), "Why may it stay?"),
            self._accepted,
        )

    def _accepted(self, reason: str | None) -> None:
        finding = self.finding
        if reason is not None and finding is not None:
            self._act(lambda: self.services.workshop.accept(self.case_id, finding, reason))

    def _act(self, change: Callable[[], Case]) -> None:
        self._busy = True

        def act() -> tuple[Case, Plan]:
            case = change()
            return case, self.services.workshop.plan(case)

        self.serve(act, lambda read: self._take(*read))


def _mark(given: bool) -> tuple[str, ...]:
    return ("< your answer so far",) if given else ()
