"""The plan: the ladder of each finding, where one stands on it, what was ruled out and why."""

from __future__ import annotations

import asyncio
from collections.abc import Callable, Iterable
from functools import partial

from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static
from textual.worker import Worker

from triage.case.models import Case
from triage.errors import TriageError
from triage.explain.sureplan import SurePlan
from triage.history.advice import SkipSuggestion
from triage.history.watch import chambers_of
from triage.plan.model import Hold, Plan
from triage.plan.outcomes import last_record
from triage.service.acts import accept_suggestion, note_look, suggestions_for
from triage.service.takeback import record_words
from triage.show.plan import camera_lines
from triage.show.step import page_blocks, step_heading
from triage.show.words import stage_word, sure_by_step
from triage.tui.hanging import ActionList
from triage.tui.keysets import bind
from triage.tui.planrows import PlanRow, no_step_words, plan_rows
from triage.tui.screens.base import Wanted
from triage.tui.screens.desk import DeskMenu
from triage.tui.screens.form import ask_reason
from triage.tui.screens.ofcase import CaseScreen, Read
from triage.tui.screens.windows import DetailScreen, confirm
from triage.tui.shown import Reasons, step_text
from triage.tui.widgets.animal import AnimalDrawing, load_drawing, zone_states

# How firm the steps are is worked out when the plan was looked at this long.
RESTING_S = 0.3


class PlanScreen(CaseScreen):
    """Rows to walk through: holds and notices, ladders, questions; Enter acts on a row."""

    PLACE = "Plan"
    BINDINGS = [
        bind("start", "walk"),
        bind("look", "look"),
        bind("looked", "looked"),
        bind("full", "explain"),
        bind("why", "desk"),
        bind("release", "release"),
        bind("undo", "undo"),
        bind("skip", "skip", show=False),
        bind("air", "go('air')", show=False),
        bind("photos", "go('photos')", show=False),
        bind("bench", "go('bench')", show=False),
        bind("handbook", "go('handbook')", show=False),
        bind("leave", "leave", "Cases"),
    ]

    READS_AGAIN = True
    skips: tuple[SkipSuggestion, ...] = ()
    sure: SurePlan | None = None
    _opened: frozenset[str] = frozenset()
    _now = ""

    def _parts(self) -> Iterable[Widget]:
        aside = (AnimalDrawing(None, id="aside-animal"), Static("", id="aside-text"))
        yield Horizontal(
            ActionList(id="rows"),
            VerticalScroll(*aside, id="aside", can_focus=False),
            id="planned",
        )

    @property
    def is_waiting(self) -> bool:
        """Whether the plan is still made."""
        return self.plan is None and self.is_at_work

    def planned(self, case: Case) -> Read:
        """Return a case with its plan and what its record suggests."""
        plan = self.workshop.plan(case)
        skips = self.skips if plan is self.plan else suggestions_for(self.workshop, case, plan)
        return Read(case, plan, skips)

    def take(self, read: Read) -> None:
        """Show the plan."""
        case, plan = read.case, read.plan
        is_same = (case, plan) == (self.case, self.plan)
        skips = read.more if read.more is not None else self.skips if is_same else ()
        if not is_same or self.sure is None:
            # Not the coroutine: of a screen left at once the worker is taken back before it begins.
            assuring = partial(self._assuring, case, plan)
            _: Worker[None] = self.run_worker(assuring, group="assure", exclusive=True)
        if is_same and skips == self.skips:
            return  # come back from a window: nothing has changed
        if plan != self.plan:
            self.sure = None
        self.skips = skips
        self.show_case(case, plan)
        self._fill()
        self.refresh_bindings()
        self.show_place(f"{case.title or case.id}: {stage_word(plan.stage)}")

    async def _assuring(self, case: Case, plan: Plan) -> None:
        """Add how firm each step is, and which question is worth most, when nobody presses."""
        await asyncio.sleep(RESTING_S)
        if not self.is_current:
            return  # another screen has the keys; it is worked out on coming back
        try:
            sure = await self.services.run(lambda: self.workshop.desk.sure_plan(case))
        except (TriageError, OSError):
            return  # it is said where a plan is asked for
        if self.is_whole and self.plan == plan and self.is_current and sure != self.sure:
            self.sure = sure
            self._fill()

    def _fill(self) -> None:
        case = self.case
        if case is None or self.plan is None:
            return
        rows = plan_rows(
            self.sure.plan if self.sure else self.plan,
            self._opened,
            case,
            self.skips,
            self.sure.firmness if self.sure else (),
            camera_lines(self.knowledge, case, self.plan),
        )
        now = next((row.id for row in rows if isinstance(row, PlanRow) and row.is_now), "")
        # The cursor stays where it was, unless another step is due now.
        self.query_one(ActionList).show(rows, at=now if now != self._now else None)
        self._now = now

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer release, undo and a look into a chamber only where there is one."""
        case, shop = self.case, self.workshop
        if action == "release":
            return self.plan is not None and bool(self.plan.held)
        if action == "undo":
            return case is not None and bool(shop.last_act(case.id) or last_record(case))
        if action == "looked":
            return case is not None and bool(
                case.timers and chambers_of(self.knowledge, shop.bench, case, shop.clock())
            )
        return super().check_action(action, parameters)

    @property
    def row(self) -> PlanRow | None:
        """The row under the cursor."""
        found: PlanRow | None = self.query_one(ActionList).row
        return found

    def on_option_list_option_highlighted(self) -> None:
        """Show beside the plan what belongs to the row under the cursor."""
        row, case, plan = self.row, self.case, self.plan
        if row is None or case is None or plan is None or not self.is_whole:
            return
        step = row.step
        taxon, animal = self.knowledge.taxa.get(case.taxon), self.query_one(AnimalDrawing)
        drawing = load_drawing(taxon.plan) if taxon is not None and step is None else None
        animal.display = drawing is not None
        animal.show(drawing, zone_states(case, plan))
        animal.choose(next((each.zone for each in plan.findings if each.id == row.finding), ""))
        told = Reasons((step_heading(step), *page_blocks(step))).drawn() if step else row.detail
        self.query_one("#aside-text", Static).update(
            Content(told) if isinstance(told, str) else told
        )

    def on_option_list_option_selected(self) -> None:
        """Act on the row that was chosen."""
        row = self.row
        if row is None:
            return
        if row.step is not None and row.is_now:
            self.post_message(Wanted("walk", self.case_id, row.step.id))
        elif row.step is not None or row.detail:
            self.action_explain()
        elif row.opens:
            self._opened ^= {row.opens}
            self._fill()
        elif row.question:
            self.post_message(Wanted("questions", self.case_id, row.finding, row.question))
        elif row.hold is not None:
            self._release(row.hold)
        elif row.skips:
            self._accept(row.skips)
        elif row.timer:
            stop = partial(self.workshop.stop_timer, self.case_id, row.timer)
            confirm(self, "Stop this timer?", "let it run", "stop it", lambda: self.change(stop))

    def action_walk(self) -> None:
        """Work on the next step."""
        if self.plan is not None and self.plan.next_step() is None:
            self.show_fault(no_step_words(self.plan, self.sign("look")))
        elif self.plan is not None:
            self.post_message(Wanted("walk", self.case_id))

    def action_look(self) -> None:
        """Look at the specimen again."""
        self.post_message(Wanted("observe", self.case_id))

    def action_explain(self) -> None:
        """Say everything about the row under the cursor."""
        row = self.row
        if row is not None and row.step is not None:
            step, sure = row.step, sure_by_step(self.sure) if self.sure else {}
            told = step_text(step, self.plan, sure.get(step.id, ""))
            self.app.push_screen(DetailScreen(step.name, told))
        elif row is not None and row.detail:
            self.app.push_screen(DetailScreen("In full", Content(row.detail)))

    def action_desk(self) -> None:
        """Ask why, why not, what if, what next."""
        if self.plan is not None and self.case is not None:
            step = (self.row.step if self.row else None) or self.plan.next_step()
            DeskMenu(self, self.case, self.plan, step).open()

    def action_release(self) -> None:
        """Release the first hold."""
        if self.plan is not None and self.plan.held:
            self._release(self.plan.held[0])

    def _release(self, hold: Hold) -> None:
        told = (
            hold.sentence,
            f"Recorded as: {hold.words} ({hold.attempt}).",
            "The reason stays in the record with its time.",
        )
        release = partial(self.workshop.release, self.case_id, hold.attempt)
        self._change_with_reason("Release the hold", told, "Why may work go on?", release)

    def _change_with_reason(
        self, title: str, told: tuple[str, ...], label: str, change: Callable[[str], Case]
    ) -> None:
        ask_reason(self, title, told, label, lambda reason: self.change(lambda: change(reason)))

    def action_undo(self) -> None:
        """Take the very last thing back, whatever it was; name it first."""
        act = self.workshop.last_act(self.case_id)
        last = last_record(self.case) if self.case else None
        if act is not None and not act.is_recorded:
            back = partial(self.workshop.take_back, self.case_id, "entered by mistake")
            asked = f"Take this back? {act.words(self.knowledge)}"
            confirm(self, asked, "let it stand", "take it back", lambda: self.change(back))
            return
        if last is None:
            return
        told = (record_words(last, self.knowledge), "It stays on file; a correction follows it.")
        back, asked = partial(self.workshop.take_back, self.case_id), "What was wrong with it?"
        self._change_with_reason("Take the last record back", told, asked, back)

    def action_looked(self) -> None:
        """Record a look into the chamber in which this specimen lies."""
        told = f"recorded: looked into its chamber at {self.services.clock():%H:%M}"
        self.change(lambda: note_look(self.workshop, self.case_id), told=told)

    def _accept(self, step: str) -> None:
        self.change(
            lambda: accept_suggestion(self.workshop, self.case_id, step),
            told=f"skipped as the record suggests; {self.sign('undo')} takes it back",
        )

    def action_skip(self) -> None:
        """Set a method aside for this finding, as the record suggests or with a reason."""
        row = self.row
        step = row.step if row else None
        here = step.id if step else row.skips if row else ""
        if here in {each.step for each in self.skips}:
            self._accept(here)
            return
        if step is None:
            key = self.sign("skip")
            self.show_fault(f"no step is chosen; move to a step, then press {key}")
            return
        skip = partial(self.workshop.skip, self.case_id, step.finding, step.method)
        asked = (f"Skip: {step.name}", (step.because,), "Why not this one?")
        self._change_with_reason(*asked, skip)
