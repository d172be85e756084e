"""The air: what the next hazardous step gives off against the limits, and the day's ledger."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from triage.airplot import day_bars
from triage.knowledge.book import Knowledge
from triage.plan import aircalc, daycalc
from triage.plan.aircalc import AirAnswer
from triage.plan.airpicture import AirPicture, air_picture
from triage.plan.airsteps import airy_step, question_of_agent, question_of_step, vapour_agents
from triage.plan.answers import Means
from triage.plan.daycalc import DayAnswer
from triage.plan.inputs import AirQuestion
from triage.show.answer import against_the_same, air_blocks, day_blocks
from triage.show.blocks import listing
from triage.tui.screens.base import ServiceScreen
from triage.tui.screens.choice import ChoiceScreen
from triage.tui.screens.detail import DetailScreen
from triage.tui.services import Services
from triage.tui.shown import Reasons
from triage.tui.widgets.aircurve import AirCurve

AMOUNTS_ML = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
BAR_WIDTH = 30
VERDICT_SIGNS = {"ok": "+ WITHIN", "over": "X OVER", "unknown": "? NO LIMIT KNOWN"}
NOTHING = "No step at hand gives off vapour. Press a to look at an agent."


@dataclass(frozen=True, slots=True)
class AirView:
    """What the screen shows: the question and its answer if there is one, and the day.

    ``same_limit`` says how far the limit that binds now was used before anything else was tried,
    in ``planned``.
    """

    place: str
    asked: AirQuestion | None
    answer: AirAnswer | None
    picture: AirPicture | None
    day: DayAnswer
    planned: AirAnswer | None = None
    same_limit: str = ""


class AirScreen(ServiceScreen):
    """Sentence, curve and the day's bars; an agent, an amount and a control can be tried."""

    PLACE = "Air"
    CSS = """
    #air-sentence { height: auto; padding: 1 1 0 1; }
    #air-curve { height: 1fr; min-height: 9; }
    #air-day-scroll { height: auto; max-height: 6; padding: 0 1; border-top: solid $panel; }
    #air-day { height: auto; }
    """
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("enter", "full", "In full"),
        Binding("a", "agent", "Agent"),
        Binding("m", "amount", "Amount"),
        Binding("v", "control", "Ventilation", id="air.control"),
        Binding("t", "day", "The day"),
        Binding("s", "step", "Next step"),
        Binding("q,f9", "leave", "Back", id="leave"),
    ]

    def __init__(self, services: Services, case_id: str | None = None) -> None:
        super().__init__(services)
        self.case_id = case_id
        self.view: AirView | None = None

    def parts(self) -> Iterable[Widget]:
        """Return sentence, curve and bars."""
        yield Static("", id="air-sentence")
        yield AirCurve(id="air-curve")
        yield VerticalScroll(Static("", id="air-day"), id="air-day-scroll", can_focus=False)

    def on_mount(self) -> None:
        """Begin with the next step that needs fresh air."""
        self.query_one(AirCurve).show(None)
        self.action_step()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the keys that try something else only where there is something to try."""
        if action in ("amount", "control", "full"):
            return self.view is not None and self.view.asked is not None
        if action == "step":
            return self.case_id is not None
        return super().check_action(action, parameters)

    # -- reading, in the background --------------------------------------------------------------

    def _for_step(self) -> AirView:
        workshop = self.services.workshop
        if self.case_id is None:
            return self._for(None, "the day")
        step = airy_step(workshop.plan(workshop.load(self.case_id)))
        if step is None:
            return self._for(None, "the day")
        asked = question_of_step(workshop.knowledge, workshop.bench, step)
        return self._for(asked, f"next: {step.name}")

    def _for(self, asked: AirQuestion | None, place: str) -> AirView:
        workshop = self.services.workshop
        means = Means(workshop.knowledge, workshop.bench, workshop.day())
        answer = picture = None
        if asked is not None:
            answer, picture = aircalc.answer(means, asked), air_picture(means, asked)
        today = by_name(daycalc.answer(means), workshop.knowledge)
        return AirView(place, asked, answer, picture, today)

    # -- showing -----------------------------------------------------------------------------------

    def _show(self, view: AirView) -> None:
        self.view = view
        self.refresh_bindings()
        self.show_place(f"Air, {view.place}")
        self.query_one("#air-sentence", Static).update(sentence_text(view))
        self.query_one(AirCurve).show(view.picture)
        self.query_one("#air-day", Static).update(day_text(view.day))

    def action_step(self) -> None:
        """Show the next step that needs fresh air."""
        self.serve(self._for_step, self._show)

    def action_agent(self) -> None:
        """Choose an agent to look at."""
        workshop = self.services.workshop
        names = [
            (agent, workshop.knowledge.agents[agent].name)
            for agent in vapour_agents(workshop.knowledge, workshop.bench)
        ]
        self.ask(ChoiceScreen("The air of which agent?", names), self._agent_chosen)

    def _agent_chosen(self, agent: str) -> None:
        knowledge = self.services.workshop.knowledge
        self._ask(question_of_agent(knowledge, agent), knowledge.agents[agent].name)

    def _try(
        self,
        title: str,
        choices: Iterable[tuple[str, str]],
        changed: Callable[[AirQuestion, str], AirQuestion],
    ) -> None:
        """Choose another value and ask with it; the bench stays as it is."""
        asked, named = self._asked(), dict(choices)
        if asked is not None:
            self.ask(
                ChoiceScreen(title, tuple(named.items())),
                lambda value: self._ask(
                    changed(asked, value), f"tried with {named[value].partition(':')[0]}"
                ),
            )

    def action_amount(self) -> None:
        """Try another amount."""
        amounts = [(f"{amount:g}", f"{amount:g} mL") for amount in AMOUNTS_ML]
        self._try(
            "How much in one pass?", amounts, lambda asked, ml: replace(asked, amount_ml=float(ml))
        )

    def action_control(self) -> None:
        """Try another ventilation."""
        controls = self.services.workshop.knowledge.controls.values()
        choices = [(each.id, f"{each.name}: {each.sentence}") for each in controls]
        self._try("What moves the air?", choices, lambda asked, it: replace(asked, control=it))

    def _asked(self) -> AirQuestion | None:
        asked = self.view.asked if self.view else None
        if asked is None:
            self.show_fault("no agent is chosen; press a and choose one")
        return asked

    def _ask(self, asked: AirQuestion, place: str) -> None:
        was, knowledge = self.view, self.services.workshop.knowledge
        planned = (was.planned or was.answer) if was is not None else None

        def tried() -> AirView:
            view = self._for(asked, place)
            if planned is None or view.answer is None or planned.agent != view.answer.agent:
                return view
            told = against_the_same(knowledge, planned.air, view.answer.air)
            return replace(view, planned=planned, same_limit=told)

        self.serve(tried, self._show)

    def action_full(self) -> None:
        """Show every limit, the questions backwards, and the curve in words."""
        if self.view is None or self.view.answer is None or self.view.picture is None:
            self.action_day()
            return
        curve = listing("the curve in words", *self.view.picture.words())
        told = Reasons((*air_blocks(self.view.answer), *curve))
        self.app.push_screen(DetailScreen("Air in full", told))

    def action_day(self) -> None:
        """Show the day in full."""
        if self.view is not None:
            day = self.view.day
            told = Reasons(day_blocks(day, day_bars(day)))
            self.app.push_screen(DetailScreen("The air of the last 24 hours", told))


def by_name(day: DayAnswer, knowledge: Knowledge) -> DayAnswer:
    """Return the day's ledger with agents called by their names."""

    def name(agent: str) -> str:
        held = knowledge.agents.get(agent)
        return held.name if held else agent

    return replace(
        day,
        bars=tuple(replace(bar, agents=tuple(map(name, bar.agents))) for bar in day.bars),
        releases=tuple(replace(each, agent=name(each.agent)) for each in day.releases),
        unlimited=tuple(map(name, day.unlimited)),
    )


def sentence_text(view: AirView) -> Content:
    """Return verdict, sentence and what it is about, in words."""
    answer = view.answer
    if answer is None:
        return Content(NOTHING)
    sign = VERDICT_SIGNS[answer.verdict]
    parts: list[str | tuple[str, str]] = [(f"{sign}  {answer.sentence}\n", "bold")]
    if view.same_limit:
        parts.append(f"{view.same_limit}\n")
    strength = f"{answer.strength_percent:g} % of " if answer.strength_percent < 100 else ""
    parts.append(f"{strength}{answer.amount_ml:g} mL {answer.agent_name}; {answer.room}")
    parts += [f"\n! {note}" for note in answer.notes[:2]]
    return Content.assemble(*parts)


def day_text(day: DayAnswer) -> Content:
    """Return the day's ledger as bars with their words."""
    parts: list[str | tuple[str, str]] = [("Before  ", "bold"), day.sentence]
    parts += [f"\n{line}" for line in day_bars(day, BAR_WIDTH)]
    return Content.assemble(*parts)
