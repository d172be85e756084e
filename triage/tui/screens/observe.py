"""Look at the specimen: the first look in one go, then a zone on the drawing or in the list."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

from textual import events
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, Static

from triage.case.models import Case
from triage.knowledge.book import Knowledge
from triage.knowledge.specimen import Question
from triage.looks import unseen_zones, zones_of
from triage.plan.names import zone_words
from triage.plan.questions import is_put
from triage.tui.hanging import ActionList, Hanging, Row, hanging
from triage.tui.keysets import bind, keyset_of, pick
from triage.tui.screens.base import Wanted
from triage.tui.screens.ofcase import CaseScreen, Read
from triage.tui.screens.windows import ChoiceScreen, confirm
from triage.tui.services import Services
from triage.tui.widgets.animal import AnimalDrawing, Drawing, drawn_plans, load_drawing, zone_states

WHOLE = "whole-specimen"
WHOLE_SIGN = "W"
OTHER = "other-drawing"
SIDES = (("left", "its left"), ("right", "its right"), ("both", "both sides"))
NEW = "new-finding"


class ObserveScreen(CaseScreen):
    """Zones of one animal with what was found on each."""

    PLACE = "Look at the specimen"
    BINDINGS = [
        bind("clean", "clean"),
        bind("rest", "rest"),
        bind("air", "go('air')", show=False),
        bind("leave", "leave", "Plan"),
    ]

    READS_AGAIN = True
    drawing: Drawing | None = None
    _body_plan = ""

    def _parts(self) -> Iterable[Widget]:
        yield Horizontal(
            AnimalDrawing(None, id="animal"),
            ActionList(id="zones"),
            id="observing",
        )

    def take(self, read: Read) -> None:
        """Show the zones with what was found on each."""
        case = read.case
        if (case, read.plan) == (self.case, self.plan):
            return  # come back from a window: nothing has changed
        self.show_case(case, read.plan)
        taxon = self.knowledge.taxa.get(case.taxon)
        self._drawn(self._body_plan or (taxon.plan if taxon else ""))
        all_zones, unseen = zones_of(self.knowledge, case), unseen_zones(self.knowledge, case)
        told = f"{len(all_zones) - len(unseen)} of {len(all_zones)} looked at"
        self.show_place(f"{case.title or case.id}: {told if all_zones else 'choose a zone'}")

    def _drawn(self, plan: str) -> None:
        self._body_plan = plan
        self.drawing = load_drawing(self._body_plan) if self._body_plan else None
        self.query_one(AnimalDrawing).show(self.drawing, zone_states(self.case, self.plan))
        self._fill()
        if not self._body_plan:
            self._other_drawing()

    def _zones(self) -> list[str]:
        drawn = [zone.zone for zone in self.drawing.zones] if self.drawing else []
        known = self.knowledge.zones.values()
        found = {finding.zone for finding in self.case.findings} if self.case else set()
        plan = self._body_plan
        here = [z.id for z in known if not plan or plan in z.plans or z.id in found]
        return sorted(here, key=lambda zone: drawn.index(zone) if zone in drawn else len(drawn))

    def _fill(self) -> None:
        left = [each for each in self.plan.questions if each.finding is None] if self.plan else []
        more = f"  ({len(left)} to ask)" if left else ""
        whole = hanging(WHOLE_SIGN, f"whole specimen{more}", width=3)
        zones = (Row(zone, self._zone_prompt(zone)) for zone in self._zones())
        other = Row(OTHER, hanging("", "another drawing", width=3))
        self.query_one(ActionList).show([Row(WHOLE, whole), *zones, other])

    def _zone_prompt(self, zone_id: str) -> Hanging:
        drawn = self.drawing.by_zone(zone_id) if self.drawing else None
        name = self.knowledge.zones[zone_id].name
        known = zone_states(self.case, self.plan)
        lines = [(each.words, each.style) for each in known if each.zone == zone_id]
        return hanging(drawn.key if drawn else "", name, *lines, width=3)

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Mark the zone on the drawing."""
        self.query_one(AnimalDrawing).choose(event.option.id or "")

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Choose the zone under the cursor."""
        self._choose(event.option.id or WHOLE, None)

    def on_key(self, event: events.Key) -> None:
        """Choose a zone by the key that stands on the drawing, or the whole specimen by its own."""
        zone = self.drawing.by_key(event.character or "") if self.drawing else None
        if zone is not None or event.character == WHOLE_SIGN:
            event.stop()
            self._choose(zone.zone if zone else WHOLE, None)

    def on_animal_drawing_zone_clicked(self, event: AnimalDrawing.ZoneClicked) -> None:
        """Choose a zone, and its side, by a click."""
        self._choose(event.zone.zone, event.side)

    def _whole(self) -> None:
        """Ask about the whole specimen; what is seen at the first look in one go."""
        is_first = self.plan is not None and self.plan.stage == "intake"
        if is_first and self.case is not None and len(to_look_at(self.knowledge, self.case)) > 1:
            self.action_go("intake")
        else:
            self._question(None)

    def action_clean(self) -> None:
        """Say that the zone under the cursor was looked at and is clean."""
        row: Row | None = self.query_one(ActionList).row
        zone_id = row.id if row else None
        if zone_id in (None, WHOLE, OTHER):
            self.show_fault(f"no zone is chosen; move to a zone, then press {self.sign('clean')}")
            return

        def clean(side: str | None) -> None:
            self.change(lambda: self.workshop.declare_clean(self.case_id, zone_id, side))

        self._ask_side(zone_id, None, "is clean", clean)

    def action_rest(self) -> None:
        """Say that every zone where nothing was noted was looked at and is clean."""
        unseen = unseen_zones(self.knowledge, self.case) if self.case else ()
        if not unseen:
            self.show_fault("no zone is left where nothing is noted")
            return
        names = ", ".join(self.knowledge.zones[zone].name for zone in unseen)
        asked, goes = f"Nothing is noted at: {names}.", "each was looked at and is clean"
        clean = partial(self.workshop.declare_rest_clean, self.case_id)
        confirm(self, asked, "not all looked at yet", goes, lambda: self.change(clean))

    def _other_drawing(self) -> None:
        """Choose which animal is drawn; the case is not changed."""
        plans = self.knowledge.body_plans
        choices = [
            (plan, plans[plan].name if plan in plans else plan) for plan in [*plans, *drawn_plans()]
        ]
        window = ChoiceScreen("Which drawing comes nearest?", list(dict(choices).items()))
        self.ask(window, self._drawn)

    def _choose(self, zone_id: str, side: str | None) -> None:
        if zone_id in (WHOLE, OTHER):
            (self._whole if zone_id == WHOLE else self._other_drawing)()
            return
        found = [line for line in self.plan.findings if line.zone == zone_id] if self.plan else []
        if side is not None:
            found = [line for line in found if line.side in {side, "both", None}]
        if not found:
            self._note(zone_id, side)
            return
        choices = [
            (line.id, f"{line.deposit_name}{f' ({line.side})' if line.side else ''}")
            for line in found
        ]
        choices.append((NEW, "something else, a new finding here"))
        self.ask(
            ChoiceScreen("Look again at, or note something else?", choices),
            lambda answer: self._note(zone_id, side) if answer == NEW else self._question(answer),
        )

    def _question(self, finding: str | None) -> None:
        self.post_message(Wanted("questions", self.case_id, finding))

    def _ask_side(
        self, zone_id: str, side: str | None, says: str, then: Callable[[str | None], None]
    ) -> None:
        """Ask on which side, where the animal has two and it is not told yet."""
        drawn = self.drawing.by_zone(zone_id) if self.drawing else None
        if side is not None or drawn is None or not drawn.paired:
            then(side)
            return
        place = zone_words(self.knowledge.zones[zone_id].name, None)
        asked = f"{place}{f' {says}' if says else ''}: which side of the animal?"
        self.ask(ChoiceScreen(asked, SIDES), then)

    def _note(self, zone_id: str, told: str | None) -> None:
        made = ""

        def add(side: str | None) -> None:
            def act() -> Case:
                nonlocal made
                case, made = self.workshop.see(self.case_id, zone_id, side)
                return case

            self.change(act, lambda: self._question(made))

        self._ask_side(zone_id, told, "", add)


# Lines with a key of their own.
MOST = 12


def to_look_at(knowledge: Knowledge, case: Case) -> tuple[Question, ...]:
    """Return what is looked at on every such specimen and not answered yet, as it is asked.

    Nothing, while something is to be asked before anything is handled.
    """
    asked = [
        each
        for each in knowledge.questions.values()
        if (each.usual is not None or each.alone)
        and each.id not in case.answers
        and is_put(knowledge, case, None, each.id)
    ]
    if any(each.alone for each in asked):
        return ()
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
