"""The air: what the next hazardous step gives off against the limits, and the day's ledger."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import Any

from textual.containers import VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static
from textual_plotext import PlotextPlot

from triage.airplot import day_bars, draw_air
from triage.knowledge.book import Knowledge
from triage.plan import aircalc, daycalc
from triage.plan.aircalc import (
    AirAnswer,
    AirPicture,
    air_picture,
    airy_step,
    question_of_agent,
    question_of_step,
    vapour_agents,
)
from triage.plan.answers import Means
from triage.plan.daycalc import DayAnswer
from triage.plan.inputs import AirQuestion
from triage.show.answer import against_the_same, air_blocks, day_blocks
from triage.show.blocks import Line, listing
from triage.tui.keysets import bind
from triage.tui.screens.base import ServiceScreen
from triage.tui.screens.windows import ChoiceScreen, DetailScreen
from triage.tui.shown import Reasons

AMOUNTS_ML = (0.05, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)
BAR_WIDTH = 30
VERDICT_SIGNS = {"ok": "+ WITHIN", "over": "X OVER", "unknown": "? NO LIMIT KNOWN"}
NOTHING = "No step at hand gives off vapour. Enter looks at an agent."


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


class AirCurve(PlotextPlot):
    """The picture of one release; the same in words stands beside it."""

    can_focus = False

    def __init__(self, **more: Any) -> None:
        super().__init__(**more)
        # The terminal's own ground; the widget would else paint one of its own.
        self.theme = "clear"
        self.picture: AirPicture | None = None

    def show(self, picture: AirPicture | None) -> None:
        """Show a picture; without one the place stays free."""
        self.picture = picture
        self.display = picture is not None and bool(picture.curve.minutes)
        if picture is not None and self.display:
            draw_air(self.plt, picture, colour=not self.app.no_color)
            self.refresh()


class AirScreen(ServiceScreen):
    """Sentence, curve and the day's bars; an agent, an amount and a control can be tried."""

    PLACE = "Air"
    CSS = """
    #air-sentence { height: auto; padding: 1 1 0 1; }
    #air-curve { height: 1fr; min-height: 9; }
    #air-day-scroll { height: auto; max-height: 6; padding: 0 1; border-top: solid $panel; }
    #air-day { height: auto; }
    """
    BINDINGS = [
        bind("choose", "another", "Try another"),
        bind("full", "full"),
    ]

    view: AirView | None = None

    def _parts(self) -> Iterable[Widget]:
        yield Static("", id="air-sentence")
        yield AirCurve(id="air-curve")
        yield VerticalScroll(Static("", id="air-day"), id="air-day-scroll", can_focus=False)

    def on_mount(self) -> None:
        """Begin with the next step that needs fresh air."""
        self.query_one(AirCurve).show(None)
        self.action_step()

    def _for_step(self) -> AirView:
        shop, case = self.workshop, self.case_id
        step = airy_step(shop.plan(shop.load(case))) if case is not None else None
        if step is None:
            return self._for(None, "the day")
        asked = question_of_step(self.knowledge, step)
        return self._for(asked, f"next: {step.name}")

    def _for(self, asked: AirQuestion | None, place: str) -> AirView:
        means = Means(self.knowledge, self.workshop.bench, self.workshop.day())
        answer = picture = None
        if asked is not None:
            answer, picture = aircalc.answer(means, asked), air_picture(means, asked)
        today = by_name(daycalc.answer(means), self.knowledge)
        return AirView(place, asked, answer, picture, today)

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

    def action_another(self) -> None:
        """Choose what is to be another; the bench and the case stay as they are."""
        asked = self.view.asked if self.view else None
        tries = {"agent": self._try_agent}
        if asked is not None:
            amounts = [(f"{amount:g}", f"{amount:g} mL") for amount in AMOUNTS_ML]
            controls = [
                (each.id, f"{each.name}: {each.sentence}")
                for each in self.knowledge.controls.values()
            ]
            tries |= {
                "amount": lambda: self._try(
                    "How much in one pass?", amounts, lambda ml: replace(asked, amount_ml=float(ml))
                ),
                "ventilation": lambda: self._try(
                    "What moves the air?", controls, lambda it: replace(asked, control=it)
                ),
            }
        choices = [(name, f"another {name}") for name in tries]
        if self.case_id is not None:
            tries["step"] = self.action_step
            choices.append(("step", "the next step again, as it is planned"))
        self.ask(ChoiceScreen("Try which?", choices), lambda chosen: tries[chosen]())

    def _try_agent(self) -> None:
        names = [
            (agent, self.knowledge.agents[agent].name)
            for agent in vapour_agents(self.knowledge, self.workshop.bench)
        ]
        self.ask(
            ChoiceScreen("The air of which agent?", names),
            lambda agent: self._ask(question_of_agent(self.knowledge, agent), dict(names)[agent]),
        )

    def _try(
        self,
        title: str,
        choices: Iterable[tuple[str, str]],
        changed: Callable[[str], AirQuestion],
    ) -> None:
        named = dict(choices)
        self.ask(
            ChoiceScreen(title, tuple(named.items())),
            lambda value: self._ask(changed(value), f"tried with {named[value].partition(':')[0]}"),
        )

    def _ask(self, asked: AirQuestion, place: str) -> None:
        was = self.view
        planned = (was.planned or was.answer) if was is not None else None

        def tried() -> AirView:
            view = self._for(asked, place)
            if planned is None or view.answer is None or planned.agent != view.answer.agent:
                return view
            told = against_the_same(self.knowledge, planned.air, view.answer.air)
            return replace(view, planned=planned, same_limit=told)

        self.serve(tried, self._show)

    def action_full(self) -> None:
        """Show every limit, the questions backwards, the curve in words, and the day behind it."""
        view = self.view
        if view is None:
            return
        told = [*day_blocks(view.day, day_bars(view.day))]
        if view.answer is not None and view.picture is not None:
            curve = listing("the curve in words", *view.picture.words())
            told = [*air_blocks(view.answer), *curve, Line("Last 24 hours", is_bold=True), *told]
        self.app.push_screen(DetailScreen("Air in full", Reasons(told)))


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
