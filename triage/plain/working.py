"""One step in plain lines: shown whole, made ready, timed, recorded."""

from __future__ import annotations

from datetime import datetime

from triage.case.models import Case
from triage.errors import TriageError
from triage.looks import is_look, timed_s
from triage.plain.dialogue import FEWEST_LETTERS, Dialogue
from triage.plan.model import Step
from triage.service.working import far_more
from triage.service.workshop import Workshop
from triage.show.step import preparation, step_blocks, step_heading
from triage.show.words import duration, timer_label

# A puff of two seconds needs no clock.
LEAST_TIMED_S = 20.0


def work_on(ask: Dialogue, workshop: Workshop, case: Case, step: Step) -> None:
    """Show a step whole, open it when all is ready, time it, and record what came of it."""
    ask.show((step_heading(step), *step_blocks(step)))
    if step.hazardous and not all(ask.yes(f"ready? {item};") for item in preparation(step)):
        ask.say("not opened: the preparation is not complete")
        return
    observed = ask.words(step.hold, FEWEST_LETTERS) if step.hold else ""
    opened = workshop.clock()
    time_s = timed_s(step)
    if time_s is not None and time_s >= LEAST_TIMED_S:
        opened = _dwell(ask, workshop, case, step, time_s) or opened
    choices = list(step.outcomes.items())
    choices += [("photos", "first name the photos of this pass"), ("back", "nothing yet, back")]
    photos: tuple[str | None, str | None] = (None, None)
    while (outcome := ask.choose("what came of it?", choices)) == "photos":
        photos = (_photo(ask, workshop, case, "before"), _photo(ask, workshop, case, "after"))
    if outcome == "back":
        return
    minutes = round((workshop.clock() - opened).total_seconds() / 60, 1)
    amount = step.amount_ml if outcome != "not-done" else None
    if amount is not None:
        amount = ask.number("amount used in mL", amount)
        while (doubt := far_more(step, amount)) and not ask.yes(f"{doubt}. Is it so?"):
            amount = ask.number("amount used in mL", step.amount_ml)
    note = ask.listen("note, or Enter for none")
    workshop.record(
        case.id,
        step.id,
        outcome,
        amount_ml=amount,
        minutes=minutes,
        note=note,
        observed=observed,
        photo_before=photos[0],
        photo_after=photos[1],
        sure=True,
    )
    ask.say(f"recorded: {step.name}, {step.outcomes[outcome]}")


def _photo(ask: Dialogue, workshop: Workshop, case: Case, which: str) -> str | None:
    newest = workshop.newest_photo()
    offered = f"; + for the newest, {newest[0].name} of {newest[1]:%H:%M}" if newest else ""
    while True:
        said = f"photo {which}, its path beside the case{offered}, or Enter for none"
        path = ask.listen(said)
        if not path:
            return None
        if path == "+" and newest:
            path = str(newest[0])
        try:
            workshop.check_photo(case.id, path)
        except TriageError as fault:
            ask.fault(fault)
        else:
            return path


def _dwell(
    ask: Dialogue, workshop: Workshop, case: Case, step: Step, seconds: float
) -> datetime | None:
    """Start the timer of a step, or say what is left of it; return when it was started."""
    running = next((t for t in case.timers if t.step == step.id), None)
    if running is None:
        if not ask.yes(f"start the timer of {duration(seconds)};"):
            return None
        case = workshop.start_timer(case.id, step.id, seconds, timer_label(step))
        running = next(t for t in case.timers if t.step == step.id)
    left = (running.ends - workshop.clock()).total_seconds()
    ends = running.ends.strftime("%Y-%m-%d %H:%M:%S")
    ask.say(f"ends at {ends}, in {duration(round(left))}" if left > 0 else "time is over")
    while left > 0 and is_look(step) and ask.yes("look later by a quarter of the time;"):
        try:
            case = workshop.extend_timer(case.id, step.id)
        except TriageError as fault:
            ask.fault(fault)
            break
        ends = next(t.ends for t in case.timers if t.step == step.id).isoformat(" ")
        ask.say(f"ends at {ends}")
    return running.started
