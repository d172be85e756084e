"""The time of a step and its outcome: taken once, asked about where it comes too early, told."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import Any

from textual.content import Content
from textual.widget import Widget

from triage.case.models import Case, Timer
from triage.errors import TriageError
from triage.looks import is_look, timed_s, too_early_s, unseen_zones
from triage.plan.model import Plan, Step
from triage.service.working import Told, far_more
from triage.show import words
from triage.tui.keysets import bind
from triage.tui.planrows import no_step_words
from triage.tui.screens.base import OPENING_S, Wanted
from triage.tui.screens.form import Field, Filled, FormScreen, Refused, ask_reason
from triage.tui.screens.ofcase import CaseScreen, Read
from triage.tui.screens.windows import ChoiceScreen, Question, confirm, told
from triage.tui.widgets.stepping import Countdown, OutcomeBar, clock_words

NUMBERS = {"amount_ml": "Amount used, mL", "minutes": "Minutes (empty: measured)"}
PHOTOS = {"photo_before": "Photo before, path", "photo_after": "Photo after, path"}
LABELS = {**NUMBERS, "note": "Note", **PHOTOS}


class RecordingScreen(CaseScreen):
    """A screen of one step with its timers, on which its outcome is recorded."""

    # Which panel is open: waiting, ready, hold or work.
    panel = "waiting"
    step_id: str | None = None
    observed = ""
    # What is written to be recorded with the outcome, as it was written.
    particulars: Filled = {}
    _busy = True
    _stands_since: float | None = None
    _is_recording = False
    _opened_at: datetime | None = None

    def _timer(self) -> Timer | None:
        if self.case is None or self.step is None:
            return None
        step_id = self.step.id
        return next((timer for timer in self.case.timers if timer.step == step_id), None)

    def _show_timer(self) -> None:
        self.refresh_bindings()
        timer, step, key = self._timer(), self.step, self.sign("timer")
        idle = "No dwell in this step"
        if step is not None and step.burst_s is not None:
            idle = f"{key}  a burst of {step.burst_s:g} s"
        elif step is not None and (dwell_s := timed_s(step)):
            idle = f"{key}  start {words.duration(dwell_s)}"
        self.query_one(Countdown).show(timer.ends if timer else None, idle)

    def action_timer(self) -> None:
        """Start the dwell, or one burst; stop what runs."""
        step = self.step
        if step is None or self._busy:
            return
        dwell_s, timer = timed_s(step), self._timer()
        if timer is not None:
            self._ask_stop_timer(timer)
        elif step.burst_s is not None and self.panel == "work":
            self.query_one(Countdown).begin_burst(step.burst_s)
        elif dwell_s is None:
            self.show_fault("this step has no dwell; there is nothing to time")
        elif self.panel != "work":
            self.show_fault("the step is not open yet; first answer what stands on the left")
        else:
            self._with_timer(self.workshop.start_timer, dwell_s, words.timer_label(step))

    def action_more_time(self) -> None:
        """Put a look off; a limit of exposure is never put off."""
        if not self._busy:
            self._with_timer(self.workshop.extend_timer)

    def _ask_stop_timer(self, timer: Timer) -> None:
        """Stop a timer that is over at once, a running one only when told so."""
        stop = partial(self._with_timer, self.workshop.stop_timer)
        left_s = (timer.ends - self.services.clock()).total_seconds()
        if left_s <= 0:
            stop()
            return
        asked = f"The timer has {clock_words(left_s)} left. Stop it?"
        confirm(self, asked, "let it run", "stop it, the time so far is not kept", stop)

    def _with_timer(self, act: Callable[..., Case], *told: Any) -> None:
        step = self.step
        if step is not None:
            self.serve(lambda: act(self.case_id, step.id, *told), self._timed)

    def _timed(self, case: Case) -> None:
        if self.plan is not None:
            self.show_case(case, self.plan)  # a timer changes no step
        self._show_timer()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer more time only where a look runs."""
        if action == "more_time":
            return self.step is not None and is_look(self.step) and self._timer() is not None
        return super().check_action(action, parameters)

    def _ask_unseen(self, case: Case) -> None:
        """Ask once before the cleaning is left behind with zones that nobody looked at."""
        unseen = unseen_zones(self.knowledge, case)
        if not unseen or case.id in self.services.asked_unseen:
            return
        names = ", ".join(self.knowledge.zones[zone].name for zone in unseen)
        choices = (("look", "look there first"), ("go-on", "go on without"))

        def answered(answer: str) -> None:
            self.services.asked_unseen.add(case.id)
            if answer == "look":
                self.post_message(Wanted("observe", self.case_id))
                self.dismiss()

        self.ask(ChoiceScreen(f"Not looked at yet: {names}.", choices), answered)

    def action_particulars(self) -> None:
        """Set amount, minutes, note and photos before recording."""
        step = self.step
        if step is None:
            return
        newest, key, asked = self._newest(), self.sign("newest"), ""

        def check(filled: Filled) -> None:
            """Take numbers and photos that are there; ask once about an unlikely amount."""
            nonlocal asked
            told = told_of(filled)
            for name in PHOTOS:
                try:
                    if filled[name]:
                        self.workshop.check_photo(self.case_id, filled[name])
                except TriageError as fault:
                    raise Refused(name, f"{LABELS[name]}: {fault.line()}") from None
            doubted, asked = asked, far_more(step, told["amount_ml"])
            if asked and asked != doubted:
                raise Refused("amount_ml", f"{asked}. Enter again if it is so.")

        planned = "" if step.amount_ml is None else f"{step.amount_ml:g}"
        held = self.particulars or {"amount_ml": planned}
        # Not the path itself: an empty line must not look as if it were filled in.
        offered = {name: f"{key} takes {Path(photo).name}" for name, photo in newest.items()}
        fields = (Field(n, text, held.get(n, ""), offered.get(n, "")) for n, text in LABELS.items())
        title = "For this pass (Enter keeps all, down and up change the line)"
        form = FormScreen(title, fields, check=check, newest=newest, first="note")
        self.ask(form, partial(setattr, self, "particulars"))

    def _newest(self) -> dict[str, str]:
        """Return the newest picture by what it may be: taken since the step opened, it is after."""
        found = self.workshop.newest_photo()
        if found is None:
            return {}
        is_after = self._opened_at is not None and found[1] >= self._opened_at
        return dict.fromkeys([*PHOTOS][:: -1 if is_after else 1], str(found[0]))

    def _minutes(self) -> float | None:
        if (told := told_of(self.particulars)["minutes"]) is not None:
            return told
        timer = self._timer()
        since = timer.started if timer else self._opened_at
        return round((self.services.clock() - since).total_seconds() / 60, 1) if since else None

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
        if outcome not in step.outcomes:
            self.show_fault(f"this step comes to: {', '.join(step.outcomes.values())}")
            return
        if self.panel != "work" and outcome != "not-done":
            self.show_fault("the step is not open yet; only 'not done' can be recorded now")
            return
        minutes = self._minutes()
        due_s = too_early_s(step, outcome, minutes)
        if due_s is None or minutes is None:
            self._record(step, outcome, minutes)
            return
        asked = (
            f"{words.duration(round(minutes * 60))} of {words.duration(round(due_s))} have passed."
        )
        choices = (
            ("go-on", "not yet: go on with the step"),
            ("ended", "record it: it was ended that early"),
            ("longer", "record it: it had longer, this clock did not see it"),
        )

        def early(answer: str) -> None:
            if answer != "go-on" and self.step is step and not self._busy:
                self._record(step, outcome, minutes if answer == "ended" else None)

        self.ask(ChoiceScreen(asked, choices), early)

    def _record(self, step: Step, outcome: str, minutes: float | None) -> None:
        self._busy = self._is_recording = True
        self.query_one(OutcomeBar).acknowledge(step.outcomes[outcome])
        told = told_of(self.particulars)
        told["minutes"], told["observed"] = minutes, self.observed
        if outcome == "not-done":
            told["amount_ml"] = None

        def act() -> Read:
            # An unlikely amount was asked about where it was written.
            record = self.workshop.record
            return self.planned(record(self.case_id, step.id, outcome, sure=True, **told))

        self.serve(act, self._recorded, self._not_recorded)

    def show_fault(self, text: str) -> None:
        """Show the fault and take keys again, but for those of a record that is under way."""
        if not self._is_recording:
            self._busy = False
            for bar in self.query(OutcomeBar):
                bar.show(self.panel, self.step)
        super().show_fault(text)

    def _not_recorded(self, text: str) -> None:
        self._is_recording = False
        self.show_fault(text)

    def _recorded(self, read: Read) -> None:
        self.show_case(read.case, read.plan)
        self.show_window(RecordedScreen(read, self.step), self._go_on)

    def _go_on(self, answer: str | None) -> None:
        """Go on to the next step, to the plan, or take the record back for a reason, then go on."""
        self._is_recording = False
        if answer is None:
            self.dismiss()
        elif answer == GO_ON:
            self._next()
        else:
            self.change(lambda: self.workshop.take_back(self.case_id, answer), self._next)

    def _next(self) -> None:
        self.step_id = None
        self.begin()

    def action_leave(self) -> None:
        """Go to the plan; a record under way is told first, also where it could not be written."""
        if not self._is_recording:
            super().action_leave()


def told_of(filled: Filled) -> Told:
    """Return what was written of a pass; ``Refused`` for a number that is none."""
    amount_ml, minutes = (_number(name, filled.get(name, "")) for name in NUMBERS)
    before, after = (filled.get(name) or None for name in PHOTOS)
    note = filled.get("note", "")
    return Told(
        amount_ml=amount_ml, minutes=minutes, note=note, photo_before=before, photo_after=after
    )


def _number(name: str, text: str) -> float | None:
    if not text:
        return None
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        raise Refused(name, f'{LABELS[name]}: "{text}" is no number; write digits') from None
    if not 0 <= found < math.inf:
        raise Refused(name, f'{LABELS[name]}: "{text}" cannot be; write what was used')
    return found


# No reason in words.
GO_ON = ""


def recorded_text(case: Case, plan: Plan, before: Step | None, look: str) -> Content:
    """Return the last record and what follows from it, in words."""
    last = case.attempts[-1]
    minutes = "" if last.minutes is None else f", {last.minutes:g} min"
    said = before.outcomes[last.outcome] if before else last.outcome
    parts: list[Content | str | tuple[str, str]] = [
        (f"Recorded: {said}\n", "bold"),
        (
            f"{before.name if before else last.method or last.step}, "
            f"{words.amount_words(last.amount_ml)}{minutes}\n\n"
        ),
    ]
    step = plan.next_step()
    parts += [(f"{words.notice_words(each)}\n", "bold") for each in words.urgent(plan)]
    if plan.held:
        parts.append(("X THE CASE IS HELD\n", "bold"))
        parts += [f"{hold.sentence}\n" for hold in plan.held]
    elif step is None:
        why = no_step_words(plan, look)
        parts.append((f"{words.sentence(why)}\n", "bold"))
        parts += [
            f"{notice.text}\n" for notice in plan.notices if notice.text.rstrip(".") not in why
        ]
    else:
        parts.append(("Next: ", "bold"))
        parts += [(f"{step.name}\n", "bold"), f"{words.step_place(step)}\n{step.because}\n"]
    return Content.assemble(*parts)


class RecordedScreen(Question[str | None]):
    """Show the record; the answer is to go on, the reason to take it back, None for the plan."""

    BINDINGS = [
        bind("choose", "go_on", "Go on"),
        bind("undo", "undo"),
        bind("leave", "leave", "Plan"),
    ]

    def __init__(self, read: Read, before: Step | None) -> None:
        super().__init__()
        self._read, self._before = read, before

    def _parts(self) -> Iterable[Widget]:
        read = self._read
        yield told(recorded_text(read.case, read.plan, self._before, self.sign("look")))

    def action_go_on(self) -> None:
        """Go on to the next step, or to the plan if there is none."""
        self.dismiss(GO_ON if self._read.plan.next_step() is not None else None)

    def action_undo(self) -> None:
        """Take it back by a correction with a reason."""
        kept = ("It is not deleted: a correction is written behind it.",)
        ask_reason(self, "Take the record back", kept, "What was wrong with it?", self.dismiss)
