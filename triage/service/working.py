"""What is done goes into a case: attempts, corrections, releases, skips, timers."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypedDict, Unpack

from triage.case import changes
from triage.case.models import Attempt, Case, Override, Timer
from triage.case.reading import validated
from triage.case.store import update_case
from triage.errors import TriageError, did_you_mean
from triage.looks import put_off
from triage.plan.model import Step
from triage.plan.outcomes import (
    FOLLOW,
    SKIP,
    UNSKIP,
    answers_after,
    last_record,
    standing_skips,
)

if TYPE_CHECKING:
    from triage.service.workshop import Workshop

FAR_MORE = 100.0


class UnlikelyAmount(TriageError):
    """An amount that looks like a slip of the pen; asked about once, recorded if it is so."""


class Told(TypedDict, total=False):
    """What a person tells of an attempt; ``measured`` are figures that the two photos gave."""

    amount_ml: float | None
    minutes: float | None
    note: str
    observed: str
    photo_before: str | None
    photo_after: str | None
    measured: Mapping[str, Any] | None


def far_more(step: Step, amount_ml: float | None) -> str:
    """Return the question about an amount a hundredfold of the planned one, empty if it is not."""
    if not step.amount_ml or amount_ml is None or amount_ml < FAR_MORE * step.amount_ml:
        return ""
    return f"planned {step.amount_ml:g} mL, you wrote {amount_ml:g} mL"


class Working:
    """Acts of working; an attempt is only ever appended."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop

    def record(
        self,
        case: str | Path,
        step: str,
        outcome: str,
        *,
        sure: bool = False,
        **told: Unpack[Told],
    ) -> Case:
        """Record one attempt on a step of the newest plan and return the case.

        An amount that is not given is taken from the plan, so that the day's air never counts
        too little. ``sure``: a person stands by an amount far beyond the planned one.

        Raises
        ------
        TriageError: unknown step or outcome, a number that is not one, a photo that is not there,
        or a hazardous step without the observation it asks for.
        """
        path = self.shop.path_of(case)
        photos = {"photo_before": told.get("photo_before"), "photo_after": told.get("photo_after")}
        for photo in photos.values():
            if photo is not None:
                self.shop.check_photo(path, photo)
        # Planned before the lock, so that other writers wait for the write alone. What was done was
        # done by this plan, whatever another writer recorded meanwhile.
        planned = self._step(self.shop.load(path), step)
        outcome = self._outcome(planned, outcome)
        doubt = far_more(planned, told.get("amount_ml"))
        if doubt and not sure:
            raise UnlikelyAmount(doubt, mend="write the right amount, or say that it is so (--yes)")
        kept = {name: self.shop.keep_photo(path, photo) for name, photo in photos.items()}
        given = {**told, **kept}
        made = self.shop.change(path, lambda old: self._recorded(old, planned, outcome, given))
        self.shop.tell_room()
        return made

    def _outcome(self, step: Step, said: str) -> str:
        """Return the outcome of a step that is meant by its words or by its name."""
        kind = self.shop.knowledge.outcomes_at(step.method)
        meant = kind.meant(said) if kind else None
        if meant is None:
            comes_to = ", ".join(step.outcomes.values())
            raise TriageError(f'"{step.name}" does not come to "{said}"', mend=f"say: {comes_to}")
        return meant

    def _recorded(self, old: Case, step: Step, outcome: str, given: dict[str, Any]) -> Case:
        if step.hold and outcome != "not-done" and not given.get("observed", "").strip():
            raise TriageError(
                f'step "{step.id}" is a hold point: {step.hold}',
                mend="look, and say what was seen (--observed on the command line)",
            )
        amount = given.get("amount_ml")
        if amount is None and outcome != "not-done":
            amount = step.amount_ml
        attempt = validated(
            Attempt,
            {
                "id": old.next_attempt_id(),
                "at": self.shop.clock(),
                "step": step.id,
                "finding": step.finding,
                "also": tuple(served.finding for served in step.also),
                "zone": step.zone,
                "deposit": step.deposit,
                "method": step.method,
                "agent": step.agent,
                "outcome": outcome,
                "knowledge": self.shop.knowledge.digest,
                **given,
                "amount_ml": amount,
            },
        )
        new = changes.with_attempt(changes.without_timer(old, step.id), attempt)
        for question, answer in answers_after(self.shop.knowledge, attempt, old.answers).items():
            new = changes.with_answer(new, question, answer)
        return new

    def _step(self, case: Case, step_id: str) -> Step:
        plan = self.shop.plan(case)
        step = plan.step(step_id)
        if step is None:
            known = [s.id for s in plan.steps]
            if plan.held:
                raise TriageError(
                    f'case "{case.id}" is held by attempt {plan.held[0].attempt}',
                    mend="release it with a reason first",
                )
            raise TriageError(f'no step "{step_id}" in the plan', mend=did_you_mean(step_id, known))
        return step

    def undo(self, case: str | Path, reason: str) -> Case:
        """Take the last record back, an attempt or a skip, by an appended correction.

        The reason stays in the record as the note of the correction. What the attempt told of the
        specimen, and nobody has told otherwise since, is to be answered anew.

        Raises
        ------
        TriageError: nothing is recorded that could be taken back.
        """
        path = self.shop.path_of(case)

        def change(old: Case) -> Case:
            last, made = last_record(old), self._undone(old, reason)
            if not isinstance(last, Attempt):
                return made
            given = answers_after(self.shop.knowledge, last, {}).items()
            stand = [q for q, answer in given if old.answers.get(q) == answer]
            return changes.with_answers(made, dict.fromkeys(stand))

        made = update_case(path, change)
        self.shop.tell_room()
        self.shop.forget(path)
        return made

    def take_back(self, case: str | Path, reason: str) -> Case:
        """Take the very last act of this session back, whatever it was; else the last record.

        What was recorded is corrected by an appended entry with the reason; an answer, a zone or a
        name that was given is as it was before, and a finding that was entered stays on file as
        withdrawn.

        Raises
        ------
        TriageError: nothing was done that could be taken back, or something rests on it since.
        """
        path, act = self.shop.path_of(case), self.shop.last_act(case)
        if act is None:
            return self.undo(case, reason)

        def change(old: Case) -> Case:
            corrected = self._undone(old, reason) if act.is_recorded else old
            return act.taken_back(corrected, self.shop.clock())

        made = update_case(path, change)
        self.shop.forget(path, act)
        self.shop.tell_room()
        return made

    def _undone(self, old: Case, reason: str) -> Case:
        last = last_record(old)
        if last is None:
            raise TriageError(
                f'case "{old.id}" has no attempt and no skip to undo', mend="record one first"
            )
        if isinstance(last, Override):
            return self._offered_again(old, last.finding, last.method or "", reason)
        return changes.with_correction(
            old,
            last.id,
            self.shop.clock(),
            outcome="not-done",
            note=reason,
            amount_ml=last.amount_ml,
        )

    def release(self, case: str | Path, attempt: str, reason: str) -> Case:
        """Release a hold with a person's written reason."""
        return self.shop.change(
            case,
            lambda old: changes.with_release(old, self.shop.clock(), attempt, reason),
        )

    def skip(self, case: str | Path, finding: str | None, method: str, reason: str) -> Case:
        """Record that a person skips a method, with the reason; never lifts an interlock."""
        self.shop.knowledge.require("method", method)
        if not reason.strip():
            raise TriageError("skipping a step needs a reason", mend="say why")
        return self.shop.change(
            case,
            lambda old: changes.with_override(
                old, self.shop.clock(), SKIP, finding=finding, method=method, reason=reason
            ),
        )

    def follow(self, case: str | Path, method: str, source: str, reason: str) -> Case:
        """Record which of the documents that disagree on a method is followed, with the reason.

        Raises
        ------
        TriageError: the method has no such reading, or no reason is given.
        """
        entry = self.shop.knowledge.require("method", method)
        if source not in entry.followable:
            mend = did_you_mean(source, entry.followable) if entry.also else "its documents agree"
            raise TriageError(f'"{source}" gives no figures for {entry.name}', mend=mend)
        if not reason.strip():
            raise TriageError("following another document needs a reason", mend="say why")
        told = {"method": method, "reading": source, "reason": reason}
        return self.shop.change(
            case, lambda old: changes.with_override(old, self.shop.clock(), FOLLOW, **told)
        )

    def offer_again(self, case: str | Path, finding: str | None, method: str, reason: str) -> Case:
        """Take the skip of a method back by an appended record, with the reason.

        Raises
        ------
        TriageError: the method is not skipped there, or no reason is given.
        """
        self.shop.knowledge.require("method", method)
        return self.shop.change(case, lambda old: self._offered_again(old, finding, method, reason))

    def _offered_again(self, old: Case, finding: str | None, method: str, reason: str) -> Case:
        if not reason.strip():
            raise TriageError("taking a skip back needs a reason", mend="say why")
        skipped = [s.method for s in standing_skips(old.overrides) if s.finding == finding]
        if method not in skipped:
            where = finding or "the whole specimen"
            mend = did_you_mean(method, [s for s in skipped if s]) if skipped else "skip it first"
            raise TriageError(f'"{method}" is not skipped for {where}', mend=mend)
        return changes.with_override(
            old, self.shop.clock(), UNSKIP, finding=finding, method=method, reason=reason
        )

    def start_timer(self, case: str | Path, step: str, seconds: float, label: str) -> Case:
        """Start a dwell timer; its end stands in the case, so it survives the program."""
        start = self.shop.clock()
        timer = validated(
            Timer,
            {
                "step": step,
                "started": start,
                "ends": start + timedelta(seconds=seconds),
                "label": label,
            },
        )
        return self.shop.change(case, lambda old: changes.with_timer(old, timer))

    def extend_timer(self, case: str | Path, step: str) -> Case:
        """Put a look off by a quarter of its time, counted from now where it is over already.

        Raises
        ------
        TriageError: no timer runs, or its time is a limit: vapour, a hazard, or the longest time
        the step allows.
        """
        seen = self.shop.load(case)
        running = any(each.step == step for each in seen.timers)
        planned = self._step(seen, step) if running else None

        def change(old: Case) -> Case:
            timer = next((each for each in old.timers if each.step == step), None)
            if timer is None or planned is None:
                raise TriageError("no timer runs for this step", mend="start it first")
            ends = put_off(planned, timer, self.shop.clock())
            return changes.with_timer(old, validated(Timer, {**dict(timer), "ends": ends}))

        return self.shop.change(case, change)

    def stop_timer(self, case: str | Path, step: str) -> Case:
        """Take a timer out of the case."""
        return self.shop.change(case, lambda old: changes.without_timer(old, step))
