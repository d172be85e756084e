"""One step filling the screen: made ready, released by what is seen, timed, recorded."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime

from textual import events
from textual.containers import Horizontal, Vertical, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import ContentSwitcher, Input, Static

from triage.looks import is_after_cleaning
from triage.show.words import duration, stage_word
from triage.tui.keysets import bind, pick, recording
from triage.tui.screens.desk import DeskMenu
from triage.tui.screens.form import is_in_words
from triage.tui.screens.ofcase import CHANGED_OUTSIDE, Read
from triage.tui.screens.recording import RecordingScreen
from triage.tui.screens.windows import DetailScreen
from triage.tui.services import Services
from triage.tui.shown import doing_text, step_text
from triage.tui.widgets.stepping import Checklist, Countdown, OutcomeBar

HOLD_ASKS = "What do you see? Write it in words, then Enter. Nothing opens on Enter alone."


class WalkScreen(RecordingScreen):
    """Work through one step: checklist, hold point, the step itself, its outcome."""

    BINDINGS = [
        *recording(),
        *pick("tick"),
        bind("choose", "open_step", "Ready, open", show=False),
        bind("timer", "timer"),
        bind("pass", "particulars"),
        bind("full", "details"),
        bind("why", "explain"),
        bind("later", "more_time"),
        bind("photos", "go('photos')", show=False),
        bind("air", "go('air')", show=False),
        bind("leave", "leave", "Plan"),
    ]

    _left_at: datetime | None = None

    def __init__(self, services: Services, case_id: str, step_id: str | None = None) -> None:
        super().__init__(services, case_id)
        self.step_id = step_id

    def _parts(self) -> Iterable[Widget]:
        yield Static("", id="headline")
        yield Horizontal(
            ContentSwitcher(
                VerticalScroll(Static("", id="waiting-text"), id="waiting"),
                VerticalScroll(Checklist(id="checklist"), id="ready"),
                VerticalScroll(Static("", id="hold-text"), Input(id="observed"), id="hold"),
                VerticalScroll(Static("", id="doing"), id="work"),
                initial="waiting",
                id="panels",
            ),
            Vertical(
                Countdown(self.services.clock, id="countdown"),
                VerticalScroll(Static("", id="stops-text"), id="stops", can_focus=False),
                id="watching",
            ),
            id="walking",
        )
        yield OutcomeBar(id="outcomes")

    def on_mount(self) -> None:
        """Make room whenever a page turns out to be longer than its window, or no longer is."""
        for page in self.query(VerticalScroll):
            self.watch(page, "show_vertical_scrollbar", self._make_room, init=False)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the keys of the checklist only while it is open."""
        if action in ("tick", "open_step"):
            return self.panel == "ready"
        return super().check_action(action, parameters)

    def take(self, read: Read) -> None:
        """Show the step that was chosen, the next one of the plan if none was, or it is gone."""
        if self._is_recording:
            return  # what comes of it is shown next; no other step may slide under the record
        self._busy = False
        case, plan = read.case, read.plan
        self.show_case(case, plan)
        chosen = plan.step(self.step_id) if self.step_id else None
        step = chosen or plan.next_step()
        if step is None:
            self.dismiss()
            return
        self.step = step
        self.observed = ""
        self.particulars = {}
        self._opened_at = None
        self.query_one("#headline", Static).update(Content(step.name))
        stops = ("STOP (Esc) if you see", *(f"! {point.see}" for point in step.stop_points))
        self.query_one("#stops-text", Static).update(Content.styled("\n".join(stops), "bold"))
        self._give_all_room()
        self.query_one(Checklist).show(step)
        self.query_one("#doing", Static).update(doing_text(step).drawn())
        self.query_one("#hold-text", Static).update(
            Content.assemble((f"HOLD POINT\n\n{step.hold}\n\n", "bold"), HOLD_ASKS)
        )
        self.query_one(Countdown).bursts = 0
        self.refresh_bindings()
        self.show_place(
            f"{case.title or case.id} · {stage_word(step.stage)} · rung {step.rung}/{step.rungs}"
            f" · pass {step.passes_done + 1}/{step.passes}"
        )
        self._show_timer()
        self._enter()
        if is_after_cleaning(step):
            self._ask_unseen(case)

    def _enter(self) -> None:
        """Begin at the checklist, the hold point or the work, as the step demands."""
        if self.step is None:
            return
        if self.step.hazardous and not self.query_one(Checklist).is_ready:
            self._open("ready")
        elif self.step.hold and not self.observed:
            self._open("hold")
        else:
            self._open("work")

    def _open(self, panel: str) -> None:
        self.panel = self.query_one("#panels", ContentSwitcher).current = panel
        self.refresh_bindings()
        self.query_one(OutcomeBar).show(panel, self.step)
        self._stands_since = None
        self.call_after_refresh(self._stand)
        self.call_after_refresh(self._make_room)
        if panel == "work" and self._opened_at is None:
            self._opened_at = self.services.clock()
        if panel == "hold":
            line = self.query_one("#observed", Input)
            line.value = ""
            line.focus()
        else:
            self.query_one(f"#{panel}").focus()

    def _stand(self) -> None:
        """Note when what was opened could be seen."""
        self._stands_since = self.services.pulse()

    def _make_room(self) -> None:
        """Shrink the timer where stop points would be out of view; say that a page goes on."""
        if not self.is_whole or self.step is None:
            return
        further = "   PgDn reads on" if self.query_one(f"#{self.panel}").max_scroll_y else ""
        name = Content(f"{self.step.name}{further}")
        self.query_one("#headline", Static).update(name, layout=False)
        watching = self.query_one("#watching")
        if self.query_one("#stops").max_scroll_y and not watching.has_class("-crowded"):
            watching.add_class("-crowded")
            self.query_one(Countdown).set_small(is_small=True)

    def _give_all_room(self) -> None:
        """Begin large again: what is crowded shrinks once the sizes are known."""
        self.query_one("#watching").remove_class("-crowded")
        self.query_one(Countdown).set_small(is_small=False)

    def action_details(self) -> None:
        """Show everything about the step, with the limits and the reasons."""
        if self.step is not None:
            self.app.push_screen(DetailScreen(self.step.name, step_text(self.step, self.plan)))

    def on_resize(self, event: events.Resize) -> None:
        """Give room again in the new size."""
        del event  # the frame has taken what it needs from it already
        self._give_all_room()
        self.call_after_refresh(self._make_room)

    # -- making ready --------------------------------------------------------------------------

    def action_tick(self, number: int) -> None:
        """Tick one line of the checklist, or take the tick away."""
        self.clear_fault()
        self.query_one(Checklist).toggle(number)

    def action_open_step(self) -> None:
        """Go on from the checklist once every line is ticked."""
        if self.query_one(Checklist).is_ready:
            self.clear_fault()
            self._enter()
        else:
            self.show_fault("not every line is ticked; press the number of each when it is done")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Take what was seen; words are needed, a repeated key is no answer."""
        if event.input.id != "observed":
            return
        if not is_in_words(event.value):
            self.show_fault("what was seen is missing; write it in words, then Enter")
            return
        self.observed = event.value.strip()
        self.clear_fault()
        self._enter()

    def keys_changed(self) -> None:
        """Show the other keys."""
        if self.step is not None:
            self.query_one(OutcomeBar).show(self.panel, self.step)
            self._show_timer()

    # -- interruptions -------------------------------------------------------------------------

    def on_screen_suspend(self) -> None:
        """Note when the screen was left."""
        self._left_at = self.services.clock()
        if self.is_whole:
            self.query_one(Countdown).break_burst()

    def on_screen_resume(self) -> None:
        """Tell what was recorded meanwhile; after long ask again for what must be ready."""
        if self._to_show:
            return  # what was recorded meanwhile is told first
        left_at, self._left_at = self._left_at, None
        if left_at is not None and not self._busy:
            self.interrupted((self.services.clock() - left_at).total_seconds())

    def interrupted(self, away_s: float) -> None:
        """Ask again for what must be ready and seen if nobody worked here for that long."""
        if not self.is_whole:
            return
        again_s = self.knowledge.judgement.release_again_s.value
        if self.step is not None and away_s > again_s and (self.step.hazardous or self.step.hold):
            checklist = self.query_one(Checklist)
            ticked = "the checklist" if self.step.hazardous and checklist.is_ready else ""
            confirmed = self.observed or ticked
            checklist.clear()
            if not confirmed:
                return  # said once already, or nothing stood yet that would have to be said again
            self.observed = ""
            self._enter()
            self.show_fault(
                f"you were away for {duration(round(away_s))}; confirmed before: {confirmed}; "
                "confirm it again before going on"
            )

    # -- ways on ----------------------------------------------------------------------------

    def action_explain(self) -> None:
        """Ask why, why not, what if, what next, or read everything about the step."""
        if self.step is not None and self.case is not None and self.plan is not None:
            DeskMenu(self, self.case, self.plan, self.step).open()

    def changed_outside(self) -> None:
        """Take the file as it is now; a step that stands as before is gone on with."""

        def then(read: Read) -> None:
            if self.step is not None and read.plan.step(self.step.id) == self.step:
                self.plan = read.plan
                self._timed(read.case)
            else:
                self.take(read)
            self.tell(CHANGED_OUTSIDE)

        self.serve(self.read, then)
