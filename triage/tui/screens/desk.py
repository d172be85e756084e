"""Ask the plan: why, why not, what if, what would change it, what to ask next."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from triage.case.models import Case
from triage.explain.nextquestion import answer_words
from triage.plan.model import Plan, Step
from triage.plan.names import finding_names
from triage.service.workshop import Workshop
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
Choices = list[tuple[str, str]]
Offer = tuple[str, Callable[[], object]]


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
        """Ask what is to be explained: what there is something to be said about."""
        offers = tuple(self._offers())
        choices = [(str(at), words) for at, (words, _) in enumerate(offers)]
        title = f"About: {self.step.name}" if self.step else "About this case"
        self.screen.ask(ChoiceScreen(title, choices), lambda at: offers[int(at)][1]())

    def _offers(self) -> Iterator[Offer]:
        case, plan, step, finding = self.case, self.plan, self.step, self.finding
        desk, tells, others = self.workshop.desk, self._tells, self._others()
        yield tells(
            "why does this step stand here?",
            "Why it stands here",
            lambda: why_lines(desk.why(case, step.id if step else None), plan),
        )
        if others:
            yield self._chooses(
                "why not another method?",
                "Why not which method?",
                others,
                lambda other: self._tell(
                    "Why not", lambda: why_not_lines(desk.why_not(case, other, finding), plan)
                ),
            )
        if others and step:
            yield self._chooses(
                "why this method rather than another?",
                "Rather than which method?",
                others,
                lambda other: self._tell(
                    f"Why {step.name} rather than another",
                    lambda: contrast_lines(
                        desk.contrast(case, step.method, other, step.finding), plan
                    ),
                ),
            )
        if finding:
            yield tells(
                "how is the finding read, and from what?",
                f"How it is read: {finding_names(plan).get(finding, finding)}",
                lambda: why_lines(desk.how(case, finding), plan),
            )
        yield tells(
            "what would change the next step?",
            "What would change the next step",
            lambda: change_lines(desk.changes(case), self.workshop.knowledge, plan),
        )
        yield self._chooses(
            "what if an answer were another?",
            "What if which answer were another?",
            list(self._asked()),
            self._if_answered,
        )
        yield tells(
            "what is worth asking next?",
            "Worth asking next, the best first",
            lambda: question_lines(desk.questions(case), plan, for_commands=False),
        )
        yield tells(
            "how firm is each step?",
            "How firm each step is",
            lambda: firmness_lines(desk.firmness(case), plan),
        )
        yield tells(
            "what does not agree?",
            "What does not agree",
            lambda: contradiction_lines(desk.contradictions(case), plan),
        )
        if step:
            window = partial(DetailScreen, step.name, step_text(step, plan))
            words = "everything about this step: air, gloves, waste, sources"
            yield words, lambda: self.screen.app.push_screen(window())

    def _tell(self, title: str, act: Callable[[], Lines]) -> None:
        def then(told: Lines) -> None:
            self.screen.app.push_screen(DetailScreen(title, Reasons(told)))

        self.screen.serve(act, then)

    def _tells(self, words: str, title: str, act: Callable[[], Lines]) -> Offer:
        return words, lambda: self._tell(title, act)

    def _chooses(
        self, words: str, title: str, choices: Choices, then: Callable[[str], object]
    ) -> Offer:
        return words, lambda: self.screen.ask(ChoiceScreen(title, choices), then)

    def _others(self) -> Choices:
        """Return the other methods for the finding at hand: offered ones first."""
        mine = self.step.method if self.step else ""
        steps = [s for s in self.plan.steps if s.finding == self.finding and s.method != mine]
        out = sorted(
            (e for e in self.plan.excluded if e.finding in (self.finding, None)),
            key=lambda e: not e.offered,
        )
        named = [(s.method, s.name) for s in steps] + [(e.method, e.method_name) for e in out]
        return list({method: (method, name) for method, name in reversed(named)}.values())[::-1]

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

        window = ChoiceScreen(entry.ask, [*choices, (UNKNOWN, CANNOT_TELL)])
        self.screen.ask(window, then)
