"""The time of a step: its dwell, the time of a look put off, its bursts."""

from __future__ import annotations

from triage.case.models import Case, Timer
from triage.looks import is_look, timed_s
from triage.plan.model import Step
from triage.show.words import duration, timer_label
from triage.tui.screens.ofcase import CaseScreen
from triage.tui.screens.windows import ChoiceScreen
from triage.tui.widgets.stepping import Countdown
from triage.tui.words import clock_words


class TimedScreen(CaseScreen):
    """A screen of one step with its timers; their ends stand in the case file."""

    @property
    def is_working(self) -> bool:
        """Whether the step is open, so that it may be timed."""
        raise NotImplementedError

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
            idle = f"{key}  start {duration(dwell_s)}"
        self.query_one(Countdown).show(timer.ends if timer else None, idle)

    def action_timer(self) -> None:
        """Start the dwell, or one burst; stop what runs."""
        step = self.step
        if step is None or self._busy:
            return
        dwell_s = timed_s(step)
        workshop = self.services.workshop
        timer = self._timer()
        if timer is not None:
            self._ask_stop_timer(step, timer)
        elif step.burst_s is not None and self.is_working:
            self.query_one(Countdown).begin_burst(step.burst_s)
        elif dwell_s is None:
            self.show_fault("this step has no dwell; there is nothing to time")
        elif not self.is_working:
            self.show_fault("the step is not open yet; first answer what stands on the left")
        else:
            label = timer_label(step)
            self.serve(
                lambda: workshop.start_timer(self.case_id, step.id, dwell_s, label), self._timed
            )

    def action_more_time(self) -> None:
        """Put a look off; a limit of exposure is never put off."""
        step = self.step
        if step is not None and not self._busy:
            self.serve(
                lambda: self.services.workshop.extend_timer(self.case_id, step.id), self._timed
            )

    def _ask_stop_timer(self, step: Step, timer: Timer) -> None:
        """Stop a timer that is over at once, a running one only when told so."""
        left_s = (timer.ends - self.services.clock()).total_seconds()
        if left_s <= 0:
            self._stop_timer(step)
            return
        asked = f"The timer has {clock_words(left_s)} left. Stop it?"
        choices = (("keep", "let it run"), ("stop", "stop it, the time so far is not kept"))
        self.ask(ChoiceScreen(asked, choices), lambda answer: self._stop_timer(step, answer))

    def _stop_timer(self, step: Step, answer: str = "stop") -> None:
        if answer != "stop":
            return
        self.serve(lambda: self.services.workshop.stop_timer(self.case_id, step.id), self._timed)

    def _timed(self, case: Case) -> None:
        if self.plan is not None:
            self.show_case(case, self.plan)  # a timer changes no step
        self._show_timer()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer more time only where a look runs."""
        if action == "more_time":
            return self.step is not None and is_look(self.step) and self._timer() is not None
        return super().check_action(action, parameters)
