"""Ask the plan: why, why not, what if, what would change it, what to ask next."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from functools import partial

from triage.case.models import Case
from triage.explain.nextquestion import answer_words
from triage.plan.model import Plan, Step
from triage.plan.names import finding_names
from triage.show import reasons
from triage.tui.screens.base import ServiceScreen
from triage.tui.screens.windows import ChoiceScreen, DetailScreen
from triage.tui.shown import Reasons, step_text

UNKNOWN = "unknown"
UNTOLD = "not answered"
CANNOT_TELL = "cannot tell"
Choices = list[tuple[str, str]]
Offer = tuple[str, Callable[[], object]]


class DeskMenu:
    """The questions to the plan, over the screen they are asked on; nothing is recorded."""

    def __init__(self, screen: ServiceScreen, case: Case, plan: Plan, step: Step | None) -> None:
        self.screen, self.workshop = screen, screen.workshop
        self.case, self.plan, self.step = case, plan, step
        self.finding = step.finding if step else next((line.id for line in plan.findings), None)
        self.signs = case.finding(self.finding).signs if self.finding else {}
        self.given = {**case.answers, **self.signs}

    def open(self) -> None:
        """Ask what is to be explained: what there is something to be said about."""
        offers = tuple(self._offers())
        choices = [(str(at), words) for at, (words, _) in enumerate(offers)]
        title = f"About: {self.step.name}" if self.step else "About this case"
        self.screen.ask(ChoiceScreen(title, choices), lambda at: offers[int(at)][1]())

    def _offers(self) -> Iterator[Offer]:
        case, plan, step, finding = self.case, self.plan, self.step, self.finding
        desk, others = self.workshop.desk, self._others()
        tell, choose = self._tell, self._choose
        why = lambda: reasons.why_lines(desk.why(case, step.id if step else None), plan)
        yield "why does this step stand here?", partial(tell, "Why it stands here", why)
        if others:
            why_not = lambda other: self._tell(
                "Why not",
                lambda: reasons.why_not_lines(desk.trail(case).why_not(other, finding), plan),
            )
            yield (
                "why not another method?",
                partial(choose, "Why not which method?", others, why_not),
            )
        if others and step:
            rather = lambda other: self._tell(
                f"Why {step.name} rather than another",
                lambda: reasons.contrast_lines(
                    desk.trail(case).contrasts(step.method, other, step.finding), plan
                ),
            )
            words = "why this method rather than another?"
            yield words, partial(choose, "Rather than which method?", others, rather)
        if finding:
            title = f"How it is read: {finding_names(plan).get(finding, finding)}"
            how = lambda: reasons.why_lines(desk.how(case, finding), plan)
            yield "how is the finding read, and from what?", partial(tell, title, how)
        change = lambda: reasons.change_lines(desk.changes(case), self.workshop.knowledge, plan)
        yield (
            "what would change the next step?",
            partial(tell, "What would change the next step", change),
        )
        asked = list(self._asked())
        what_if = partial(choose, "What if which answer were another?", asked, self._if_answered)
        yield "what if an answer were another?", what_if
        ask = lambda: reasons.question_lines(desk.questions(case), plan, for_commands=False)
        yield "what is worth asking next?", partial(tell, "Worth asking next, the best first", ask)
        firm = lambda: reasons.firmness_lines(desk.firmness(case), plan)
        yield "how firm is each step?", partial(tell, "How firm each step is", firm)
        clash = lambda: reasons.contradiction_lines(desk.trail(case).contradictions(), plan)
        yield "what does not agree?", partial(tell, "What does not agree", clash)
        if step:
            words = "everything about this step: air, gloves, waste, sources"
            yield words, partial(self._show, step.name, step_text(step, plan))

    def _show(self, title: str, told: Reasons) -> None:
        self.screen.app.push_screen(DetailScreen(title, told))

    def _tell(self, title: str, act: Callable[[], reasons.Lines]) -> None:
        self.screen.serve(act, lambda told: self._show(title, Reasons(told)))

    def _choose(self, title: str, choices: Choices, then: Callable[[str], object]) -> None:
        self.screen.ask(ChoiceScreen(title, choices), then)

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
        mine = [q.question for q in self.plan.questions if q.finding == self.finding]
        whole = [q.question for q in self.plan.questions if q.finding is None]
        for question in dict.fromkeys([*self.signs, *mine, *self.case.answers, *whole]):
            if question in known:
                now = self.given.get(question)
                told = answer_words(self.workshop.knowledge, question, now) if now else UNTOLD
                yield question, f"{known[question].ask} (now: {told})"

    def _if_answered(self, question: str) -> None:
        entry = self.workshop.knowledge.questions[question]
        now = self.given.get(question)
        choices = [(each.id, each.text) for each in entry.answers if each.id != now]

        def then(answer: str) -> None:
            self._tell(
                f"What if: {entry.ask} {dict(choices).get(answer, CANNOT_TELL)}",
                lambda: reasons.what_if_lines(
                    self.workshop.desk.what_if(self.case, {question: answer}, self.finding)
                ),
            )

        self._choose(entry.ask, [*choices, (UNKNOWN, CANNOT_TELL)], then)
