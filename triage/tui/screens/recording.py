"""The outcome of a step: taken once, asked about where it comes too early, told, gone on from."""

from __future__ import annotations

from datetime import datetime

from triage.case.models import Case
from triage.looks import too_early_s, unseen_zones
from triage.plan.model import Step
from triage.service.working import far_more
from triage.show.words import duration
from triage.tui.messages import Wanted
from triage.tui.screens.form import Filled
from triage.tui.screens.ofcase import Read
from triage.tui.screens.particulars import PHOTOS, Particulars, particulars_form, particulars_of
from triage.tui.screens.recorded import RecordedScreen
from triage.tui.screens.timed import TimedScreen
from triage.tui.screens.windows import ChoiceScreen
from triage.tui.services import Services
from triage.tui.widgets.stepping import OutcomeBar

# An outcome that comes sooner was typed before the step could be seen [s].
OPENING_S = 0.5


class RecordingScreen(TimedScreen):
    """A screen of one step on which its outcome is recorded."""

    def __init__(self, services: Services, case_id: str) -> None:
        super().__init__(services, case_id)
        self.step_id: str | None = None
        self.observed = ""
        self.particulars = Particulars()
        self._busy = True
        self._stands_since: float | None = None
        self._is_recording = False
        self._to_tell: Read | None = None
        self._opened_at: datetime | None = None

    @property
    def panel(self) -> str:
        """Which panel is open: waiting, ready, hold or work."""
        raise NotImplementedError

    def _ask_unseen(self, case: Case) -> None:
        """Ask once before the cleaning is left behind with zones that nobody looked at."""
        knowledge = self.services.workshop.knowledge
        unseen = unseen_zones(knowledge, case)
        if not unseen or case.id in self.services.asked_unseen:
            return
        self.services.asked_unseen.add(case.id)
        names = ", ".join(knowledge.zones[zone].name for zone in unseen)
        choices = (("look", "look there first"), ("go-on", "go on without"))
        self.ask(ChoiceScreen(f"Not looked at yet: {names}.", choices), self._unseen_answered)

    def _unseen_answered(self, answer: str) -> None:
        if answer == "look":
            self.post_message(Wanted("observe", self.case_id))
            self.dismiss()

    def action_particulars(self) -> None:
        """Set amount, minutes, note and photos before recording."""
        step = self.step
        if step is not None:
            form = particulars_form(
                self.particulars,
                lambda photo: self.services.workshop.check_photo(self.case_id, photo),
                lambda amount_ml: far_more(step, amount_ml),
                self._newest(),
                self.sign("newest"),
            )
            self.ask(form, self._particularised)

    def _newest(self) -> dict[str, str]:
        """Return the newest picture by what it may be: taken since the step opened, it is after."""
        found = self.services.workshop.newest_photo()
        if found is None:
            return {}
        place, taken = found
        is_after = self._opened_at is not None and taken >= self._opened_at
        names = [*PHOTOS][::-1] if is_after else [*PHOTOS]
        return dict.fromkeys(names, str(place))

    def _particularised(self, filled: Filled) -> None:
        self.particulars = particulars_of(filled)

    def _minutes(self) -> float | None:
        if self.particulars.minutes is not None:
            return self.particulars.minutes
        timer = self._timer()
        since = timer.started if timer else self._opened_at
        if since is None:
            return None
        return round((self.services.clock() - since).total_seconds() / 60, 1)

    def action_outcome(self, outcome: str) -> None:
        """Record the outcome of this pass."""
        step = self.step
        if step is None or self._busy:
            return
        since = self._stands_since
        if since is None or self.services.pulse() - since < OPENING_S:
            self.tell(
                "not recorded: the step had only just opened. Look, then press the key again."
            )
            return
        if self.panel != "work" and outcome != "not-done":
            self.show_fault("the step is not open yet; only 'not done' can be recorded now")
            return
        minutes = self._minutes()
        due_s = too_early_s(step, outcome, minutes)
        if due_s is None or minutes is None:
            self._record(step, outcome, minutes)
            return
        asked = f"{duration(round(minutes * 60))} of {duration(round(due_s))} have passed."
        choices = (
            ("go-on", "not yet: go on with the step"),
            ("ended", "record it: it was ended that early"),
            ("longer", "record it: it had longer, this clock did not see it"),
        )
        self.ask(
            ChoiceScreen(asked, choices),
            lambda answer: self._record_early(step, outcome, minutes, answer),
        )

    def _record_early(self, step: Step, outcome: str, minutes: float, answer: str) -> None:
        """Record an end that came early, with the time that is true, or go on."""
        if answer in ("ended", "longer") and self.step is step and not self._busy:
            self._record(step, outcome, minutes if answer == "ended" else None)

    def _record(self, step: Step, outcome: str, minutes: float | None) -> None:
        self._busy = self._is_recording = True
        self.query_one(OutcomeBar).acknowledge(outcome)
        told, observed = self.particulars, self.observed
        workshop = self.services.workshop

        def act() -> Read:
            case = workshop.record(
                self.case_id,
                step.id,
                outcome,
                amount_ml=None if outcome == "not-done" else told.amount_ml,
                minutes=minutes,
                note=told.note,
                observed=observed,
                photo_before=told.photo_before or None,
                photo_after=told.photo_after or None,
                sure=True,  # asked where the amount was written
            )
            return self.planned(case)

        self.serve(act, self._recorded, self._not_recorded)

    def show_fault(self, text: str) -> None:
        """Show the fault and take keys again, but for those of a record that is under way."""
        if not self._is_recording:
            self._busy = False
            for bar in self.query(OutcomeBar):
                bar.show(self.panel)
        super().show_fault(text)

    def _not_recorded(self, text: str) -> None:
        self._is_recording = False
        self.show_fault(text)

    def _recorded(self, read: Read) -> None:
        self.show_case(read.case, read.plan)
        self._tell_recorded(read)

    def _tell_recorded(self, read: Read) -> None:
        """Show the record; above a window that was opened meanwhile it would cover STOP."""
        if not self.is_topmost:
            self._to_tell = read
            return
        self._to_tell = None
        self.app.push_screen(RecordedScreen(self.services, read, self.step), self._go_on)

    def _go_on(self, goes_on: bool | None) -> None:
        self._is_recording = False
        if goes_on:
            self.step_id = None
            self.begin()
        else:
            self.dismiss()

    def action_leave(self) -> None:
        """Go to the plan; a record under way is told first, also where it could not be written."""
        if not self._is_recording:
            super().action_leave()
