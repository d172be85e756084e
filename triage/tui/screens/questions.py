"""One question at a time, one key each, with the reading of the finding beside it."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.style import Style
from textual.widget import Widget
from textual.widgets import OptionList, Static
from textual.widgets.option_list import Option

from triage.case.models import Case
from triage.engine.casefacts import TAXON
from triage.engine.vocabulary import UNKNOWN
from triage.explain.sureplan import Agenda
from triage.plan.model import FindingLine, QuestionLine
from triage.plan.names import zone_words
from triage.plan.questions import question_line
from triage.service.asking import Visit, place_of
from triage.show.words import KIND_WORDS, RISK_WORDS, percent
from triage.tui.hanging import ActionList, hanging
from triage.tui.keysets import bind, keyset_of, pick
from triage.tui.screens.base import Wanted
from triage.tui.screens.form import ask_reason
from triage.tui.screens.ofcase import CaseScreen, Read
from triage.tui.screens.windows import ChoiceScreen, DetailScreen
from triage.tui.services import Services
from triage.tui.shown import reading

BOLD = Style(bold=True)
CANNOT_TELL = "cannot-tell"
SO_FAR = "< your answer so far"
CORRECTED = "It was answered before and may be corrected here."
# What may be done when enough is known; the ids are no answers of any question.
START, MORE, ELSEWHERE, LEAVE = "start", "go-on", "go-elsewhere", "go-back"
NAME_IT, KEEP_IT, NO_NAME = "name-it", "keep-it", "no-name"


class QuestionScreen(CaseScreen):
    """Ask what would still help, about one finding or about the whole specimen."""

    PLACE = "Questions"
    BINDINGS = [
        *pick("answer"),
        bind("cannot-tell", "cannot_tell"),
        bind("why", "why"),
        bind("undo", "back"),
        bind("name", "name"),
        bind("accept", "accept", show=False),
        bind("leave", "leave", "Zones"),
    ]

    question: QuestionLine | None = None
    _busy = True

    def __init__(
        self, services: Services, case_id: str, finding: str | None, question: str | None = None
    ) -> None:
        super().__init__(services, case_id)
        self.finding = finding
        self.visit = Visit(question)

    def _parts(self) -> Iterable[Widget]:
        yield Horizontal(
            VerticalScroll(
                Static("", id="ask"),
                ActionList(id="answers"),
                Static("", id="ask-cost"),
                id="asking",
            ),
            VerticalScroll(Static("", id="reading-text"), id="reading", can_focus=False),
            id="questioning",
        )

    def planned(self, case: Case, declined: frozenset[tuple[str, str]] | None = None) -> Read:
        """Return a case with its plan and what is to be asked of it, in order."""
        gone = self.visit.declined if declined is None else declined
        return Read(case, self.workshop.plan(case), self.workshop.desk.agenda(case, gone))

    def _show_finding(self) -> None:
        if self.case is not None and self.plan is not None:
            self.query_one("#reading-text", Static).update(reading(self.plan, self.finding))
            self.show_place(f"{self.case.title or self.case.id}: {self.where(self.finding)}")

    def take(self, read: Read) -> None:
        """Show what is known at once; the question follows when its worth is known."""
        if (read.case, read.plan) != (self.case, self.plan):
            self.show_case(read.case, read.plan)
            self._show_finding()
        if not isinstance(read.more, Agenda):
            return
        self.visit.agenda = read.more
        self._busy = False
        self._put(self._next())

    def line(self, finding: str | None) -> FindingLine | None:
        """Return a finding as it is read now, None for the whole specimen."""
        found = self.plan.findings if self.plan else ()
        return next((line for line in found if line.id == finding), None)

    def where(self, finding: str | None) -> str:
        """Return where a finding is."""
        line = self.line(finding)
        return zone_words(line.zone_name, line.side) if line else "whole specimen"

    def _next(self) -> QuestionLine | None:
        return self.visit.next(self.finding, self.line(self.finding))

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer what the question, or the end of asking, and the finding allow."""
        if action in ("cannot_tell", "why"):
            return self.question is not None
        if action in ("name", "accept"):
            return self.finding is not None
        return super().check_action(action, parameters)

    def _put(self, question: QuestionLine | None) -> None:
        self.question = question
        self.refresh_bindings()
        if question is None:
            self._put_end()
            return
        if question.finding != self.finding:
            # An answer belongs to the finding that its question is about, whoever put it.
            self.finding = question.finding
            self.visit.is_settled = True  # what is settled already need not be said again
            self._show_finding()
        keys, given = keyset_of(self.app), self._given(question)
        choices = [
            (answer, keys.pick(at), text, *([SO_FAR] if given == answer else []))
            for at, (answer, text) in enumerate(question.answers)
        ]
        at_given = next((at for at, (a, _) in enumerate(question.answers) if a == given), None)
        untold = (CANNOT_TELL, keys.sign("cannot-tell"), "cannot tell")
        self._offer(question.ask, [*choices, untold], at_given)
        self.query_one("#ask-cost", Static).update(Content(self._cost(question)))

    def _cost(self, question: QuestionLine) -> str:
        """Return what the question costs, what it may bring, and how many are left."""
        risk = RISK_WORDS.get(question.risk, question.risk)
        chance = self.visit.agenda.chance(question)
        brings = "; it cannot change the next step now"
        if chance is not None:
            brings = f"; {percent(chance)} that it changes the next step"
        elif place_of(question) in self.visit.declined or self._given(question):
            brings = ""  # its worth was reckoned without it
        left = len(self.visit.left().about(self.finding).worth)
        more = f"; {left - 1} more could" if left > 1 and chance is not None else ""
        why = self.sign("why")
        return f"{risk}, about {question.seconds} s{brings}{more}.\n{why}  why ask"

    def _offer(self, ask: str, choices: Sequence[tuple[str, ...]], at: int | None = None) -> None:
        """Put a question or the end of asking: the id, the key and the words of each answer."""
        self.query_one("#ask", Static).update(Content.styled(ask, "bold"))
        answers = self.query_one("#answers", OptionList)
        answers.set_options(
            Option(hanging(key, *words, width=3), id=answer) for answer, key, *words in choices
        )
        answers.focus()
        answers.highlighted = at

    def _put_end(self) -> None:
        """Say that enough is known, and what may be done now."""
        keys = keyset_of(self.app)
        line = self.line(self.finding)
        first, *more = self.visit.end_words(self.plan, line, self.knowledge) if self.plan else [""]
        ends = [(act, keys.pick(at), text) for at, (act, text) in enumerate(self._ends())]
        self._offer(first, ends)
        back = f"{keys.sign('undo')}  back to an answer, to correct it"
        self.query_one("#ask-cost", Static).update(Content("\n".join((*more, "", back))))

    def _ends(self) -> list[tuple[str, str]]:
        left = self.visit.left()
        here = left.about(self.finding)
        step = self.plan.next_step() if self.plan else None
        ends = [(START, f"start: {step.name}")] if step is not None else []
        ends.append((LEAVE, "go back"))
        if here.all:
            ends.append((MORE, "ask on here all the same"))
        if left.worth and not here.worth:
            best = left.worth[0]
            ends.append((ELSEWHERE, f"to be asked of the {self.where(best.finding)}: {best.ask}"))
        if self.finding is not None:
            ends.append((NAME_IT, "name the deposit yourself"))
            ends.append((KEEP_IT, "leave it as it is, with a reason"))
        return ends

    def _end(self, act: str) -> None:
        left = self.visit.left()
        if act == MORE:
            self.visit.asks_the_rest = not left.about(self.finding).worth
            self._put(self._next())
        elif act == ELSEWHERE:
            self.visit.asks_the_rest = False
            self._put(left.worth[0])
        elif act == START:
            self._waits_with = (None,)  # left behind the step: it leads back to the zones
            self.post_message(Wanted("walk", self.case_id))
        else:
            {NAME_IT: self.action_name, KEEP_IT: self.action_accept}.get(act, self.action_leave)()

    def _given(self, question: QuestionLine) -> str | None:
        if self.case is None:
            return None
        return held_answers(self.case, self.finding).get(question.question)

    def action_answer(self, number: int) -> None:
        """Give the answer with this number."""
        answers = self.query_one("#answers", OptionList)
        if self._busy or number > answers.option_count:
            return
        chosen = answers.get_option_at_index(number - 1).id
        if chosen != CANNOT_TELL:
            self._chosen(chosen)

    def action_cannot_tell(self) -> None:
        """Say that it cannot be told."""
        self._give(None)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Give the answer under the cursor."""
        self._chosen(event.option.id)

    def _chosen(self, what: str | None) -> None:
        if self.question is None:
            self._end(what or LEAVE)
        else:
            self._give(None if what == CANNOT_TELL else what)

    def _give(self, answer: str | None) -> None:
        question = self.question
        if question is None or self._busy:
            return
        self._busy = True
        # Marked at once: recording it and planning anew take a moment longer.
        answers = self.query_one("#answers", OptionList)
        answers.highlighted = answers.get_option_index(answer or CANNOT_TELL)
        finding = self.finding
        place, before = place_of(question), self.visit.declined
        declined = before - {place} if answer else before | {place}

        def act() -> Read:
            case = self.workshop.answer(self.case_id, question.question, answer, finding)
            return self.planned(case, declined)

        def then(read: Read) -> None:
            self.visit.asked.append(question)
            self.visit.declined = declined
            self.take(read)

        self.serve(act, then)

    def keys_changed(self) -> None:
        """Show the question with its other keys."""
        if self.plan is not None and not self._busy:
            self._put(self.question)

    def show_fault(self, text: str) -> None:
        """Show the fault and take answers again."""
        self._busy = False
        super().show_fault(text)

    def action_back(self) -> None:
        """Go back one question; on this visit's first one, choose which answer was wrong."""
        if self._busy:
            return
        if self.visit.asked:
            if self.question is not None and self._given(self.question) is not None:
                self.visit.again.insert(0, self.question)
            self._put(self.visit.asked.pop())
            return
        answered = self._answered()
        if not answered:
            self.show_fault("nothing was answered here yet; there is nothing to go back to")
            return
        lines = {line.question: line for line, _ in answered}
        choices = [(line.question, f"{line.ask}  {said}") for line, said in answered]
        window = ChoiceScreen("Which answer was wrong?", choices)
        self.ask(window, lambda chosen: self._put(lines[chosen]))

    def _answered(self) -> list[tuple[QuestionLine, str]]:
        """Return the questions answered about this, each with its answer in words."""
        if self.case is None:
            return []
        lines = [
            question_line(self.knowledge, name, self.finding, CORRECTED)
            for name in held_answers(self.case, self.finding)
            if name in self.knowledge.questions or name == TAXON
        ]
        return [(line, dict(line.answers).get(self._given(line) or "", "")) for line in lines]

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

    def _on_finding(self, act: Callable[[str], Case]) -> None:
        """Do something to the finding, and ask on from what comes of it."""
        finding = self.finding
        if finding is not None:
            self._busy = True
            self.change(lambda: act(finding))

    def action_name(self) -> None:
        """Name the deposit oneself."""
        kinds = {each.kind for each in self.knowledge.deposits.values()}
        known = [(kind, words) for kind, words in KIND_WORDS.items() if kind in kinds]
        choices = [*known, (NO_NAME, "no name of my own")]
        self.ask(ChoiceScreen("What is it like?", choices), self._name_of_kind)

    def _name_of_kind(self, kind: str) -> None:
        def name(deposit: str) -> None:
            see = self.workshop.see
            self._on_finding(lambda finding: see(self.case_id, finding=finding, named=deposit)[0])

        if kind == NO_NAME:
            name("")
            return
        deposits = self.knowledge.deposits.values()
        choices = [(deposit.id, deposit.name) for deposit in deposits if deposit.kind == kind]
        self.ask(ChoiceScreen("What do you take it to be?", choices), name)

    def action_accept(self) -> None:
        """Leave the finding as it is, with a reason."""

        def accept(reason: str) -> None:
            self._on_finding(lambda found: self.workshop.accept(self.case_id, found, reason))

        where = (self.where(self.finding),)
        ask_reason(self, "Leave this finding as it is", where, "Why may it stay?", accept)


def held_answers(case: Case, finding: str | None) -> Mapping[str, str]:
    """Return question -> answer of the specimen, or of a finding if one is named."""
    if finding is not None:
        return case.finding(finding).signs
    return {**case.answers, **({TAXON: case.taxon} if case.taxon != UNKNOWN else {})}
