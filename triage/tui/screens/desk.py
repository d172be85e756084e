"""Ask the plan: why, why not, what if, what would change it, what to ask next."""

from __future__ import annotations

from collections.abc import Callable, Iterator

from triage.case.models import Case
from triage.explain.nextquestion import answer_words
from triage.plan.model import Plan, Step
from triage.plan.names import finding_names
from triage.service import Workshop
from triage.show.reasons import (
    Lines,
    change_lines,
    contradiction_lines,
    contrast_lines,
    firmness_lines,
    question_lines,
    what_if_lines,
    why_lines,
    why_not_lines,
)
from triage.tui.screens.base import ServiceScreen
from triage.tui.screens.windows import ChoiceScreen, DetailScreen
from triage.tui.shown import Reasons, step_text

UNKNOWN = "unknown"
UNTOLD = "not answered"
CANNOT_TELL = "cannot tell"
QUESTIONS = (
    ("why", "why does this step stand here?"),
    ("not", "why not another method?"),
    ("rather", "why this method rather than another?"),
    ("read", "how is the finding read, and from what?"),
    ("change", "what would change the next step?"),
    ("if", "what if an answer were another?"),
    ("ask", "what is worth asking next?"),
    ("firm", "how firm is each step?"),
    ("agree", "what does not agree?"),
    ("full", "everything about this step: air, gloves, waste, sources"),
)


class DeskMenu:
    """The questions to the plan, over the screen they are asked on; nothing is recorded.

    Parameters
    ----------
    screen the screen below
    case   the case as it is shown there
    plan   its plan
    step   the step at hand, None if there is none
    """

    def __init__(self, screen: ServiceScreen, case: Case, plan: Plan, step: Step | None) -> None:
        self.screen = screen
        self.workshop: Workshop = screen.services.workshop
        self.case, self.plan, self.step = case, plan, step
        self.finding = step.finding if step else next((line.id for line in plan.findings), None)

    def open(self) -> None:
        """Ask what is to be explained."""
        title = f"About: {self.step.name}" if self.step else "About this case"
        self.screen.ask(ChoiceScreen(title, QUESTIONS), self._chosen)

    def _chosen(self, asked: str) -> None:
        doing: dict[str, Callable[[], None]] = {
            "not": self._why_not,
            "rather": self._rather,
            "read": self._read,
            "if": self._what_if,
            "full": self._full,
        }
        if asked in doing:
            doing[asked]()
        else:
            self._tell(*self._answers()[asked])

    def _answers(self) -> dict[str, tuple[str, Callable[[], Lines]]]:
        """Return what is answered at once: its title, and how it is worked out."""
        case, plan, desk = self.case, self.plan, self.workshop.desk
        step = self.step.id if self.step else None
        return {
            "why": ("Why it stands here", lambda: why_lines(desk.why(case, step), plan)),
            "change": (
                "What would change the next step",
                lambda: change_lines(desk.changes(case), self.workshop.knowledge, plan),
            ),
            "ask": (
                "Worth asking next, the best first",
                lambda: question_lines(desk.questions(case), plan, for_commands=False),
            ),
            "firm": ("How firm each step is", lambda: firmness_lines(desk.firmness(case), plan)),
            "agree": (
                "What does not agree",
                lambda: contradiction_lines(desk.contradictions(case), plan),
            ),
        }

    def _tell(self, title: str, act: Callable[[], Lines]) -> None:
        def then(told: Lines) -> None:
            self.screen.app.push_screen(DetailScreen(title, Reasons(told)))

        self.screen.serve(act, then)

    def _choose(
        self, title: str, choices: list[tuple[str, str]], then: Callable[[str], None]
    ) -> None:
        if not choices:
            self.screen.show_fault("there is nothing to choose from here; look at another row")
            return
        self.screen.ask(ChoiceScreen(title, choices), then)

    def _others(self) -> list[tuple[str, str]]:
        """Return the other methods for the finding at hand: offered ones first."""
        mine = self.step.method if self.step else ""
        steps = [s for s in self.plan.steps if s.finding == self.finding and s.method != mine]
        out = sorted(
            (e for e in self.plan.excluded if e.finding in (self.finding, None)),
            key=lambda e: not e.offered,
        )
        named = [(s.method, s.name) for s in steps] + [(e.method, e.method_name) for e in out]
        return list({method: (method, name) for method, name in reversed(named)}.values())[::-1]

    def _why_not(self) -> None:
        def then(method: str) -> None:
            self._tell(
                "Why not",
                lambda: why_not_lines(
                    self.workshop.desk.why_not(self.case, method, self.finding), self.plan
                ),
            )

        self._choose("Why not which method?", self._others(), then)

    def _rather(self) -> None:
        step = self.step
        if step is None:
            self.screen.show_fault("there is no step at hand; move to a step first")
            return

        def then(method: str) -> None:
            self._tell(
                f"Why {step.name} rather than another",
                lambda: contrast_lines(
                    self.workshop.desk.contrast(self.case, step.method, method, step.finding),
                    self.plan,
                ),
            )

        self._choose("Rather than which method?", self._others(), then)

    def _read(self) -> None:
        finding = self.finding
        if finding is None:
            self.screen.show_fault("nothing is found yet; look first and choose a zone")
            return
        self._tell(
            f"How it is read: {finding_names(self.plan).get(finding, finding)}",
            lambda: why_lines(self.workshop.desk.how(self.case, finding), self.plan),
        )

    def _full(self) -> None:
        if self.step is None:
            self.screen.show_fault("there is no step at hand; move to a step first")
            return
        self.screen.app.push_screen(DetailScreen(self.step.name, step_text(self.step, self.plan)))

    # -- what if -------------------------------------------------------------------------------

    def _asked(self) -> Iterator[tuple[str, str]]:
        """Yield what could be answered otherwise: the finding first, then the specimen."""
        known = self.workshop.knowledge.questions
        signs = self.case.finding(self.finding).signs if self.finding else {}
        mine = [q.question for q in self.plan.questions if q.finding == self.finding]
        whole = [q.question for q in self.plan.questions if q.finding is None]
        given = {**self.case.answers, **signs}
        for question in dict.fromkeys([*signs, *mine, *self.case.answers, *whole]):
            if question in known:
                now = given.get(question)
                told = answer_words(self.workshop.knowledge, question, now) if now else UNTOLD
                yield question, f"{known[question].ask} (now: {told})"

    def _what_if(self) -> None:
        self._choose("What if which answer were another?", list(self._asked()), self._if_answered)

    def _if_answered(self, question: str) -> None:
        entry = self.workshop.knowledge.questions[question]
        signs = self.case.finding(self.finding).signs if self.finding else {}
        now = {**self.case.answers, **signs}.get(question)
        choices = [(each.id, each.text) for each in entry.answers if each.id != now]

        def then(answer: str) -> None:
            self._tell(
                f"What if: {entry.ask} {dict(choices).get(answer, CANNOT_TELL)}",
                lambda: what_if_lines(
                    self.workshop.desk.what_if(self.case, {question: answer}, self.finding)
                ),
            )

        self._choose(entry.ask, [*choices, (UNKNOWN, CANNOT_TELL)], then)
