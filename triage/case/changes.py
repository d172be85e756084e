"""Change a case: every function returns a new one and leaves the old as it is."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from datetime import datetime
from typing import Any

from triage.case.fields import FrozenMap
from triage.case.models import (
    Attempt,
    Case,
    Finding,
    Override,
    Release,
    Restated,
    Timer,
    Withdrawn,
)
from triage.case.reading import validated
from triage.errors import TriageError


def new_case(case_id: str, title: str = "", **fields: Any) -> Case:
    """Return a case with nothing seen yet; ``fields`` are further keys of a case file."""
    return validated(Case, {"format": 1, "id": case_id, "title": title, **fields})


def new_finding(finding_id: str, zone: str, **fields: Any) -> Finding:
    """Return a finding; ``fields`` are the further keys of one."""
    return validated(Finding, {"id": finding_id, "zone": zone, **fields})


def new_attempt(attempt_id: str, at: datetime, step: str, outcome: str, **fields: Any) -> Attempt:
    """Return an attempt; ``fields`` are the further keys of one."""
    said = {"id": attempt_id, "at": at, "step": step, "outcome": outcome}
    return validated(Attempt, {**said, **fields})


def with_taxon(case: Case, taxon: str) -> Case:
    """Return the case with its taxon group, or ``unknown``."""
    return _with(case, taxon=taxon)


def with_answer(case: Case, question: str, answer: str | None) -> Case:
    """Return the case with an answer about the whole specimen; None takes it back."""
    return _with(case, answers=_merged(case.answers, {question: answer}))


def with_answers(case: Case, answers: Mapping[str, str | None]) -> Case:
    """Return the case with several answers; None takes one back."""
    return _with(case, answers=_merged(case.answers, answers))


def with_finding(case: Case, finding: Finding) -> Case:
    """Return the case with a finding added, or replaced where its id is already there."""
    kept = tuple(finding if old.id == finding.id else old for old in case.findings)
    if all(old.id != finding.id for old in case.findings):
        kept = (*kept, finding)
    return _with(case, findings=kept)


def without_finding(case: Case, finding_id: str, at: datetime, reason: str) -> Case:
    """Return the case with a finding withdrawn: entered by mistake, it stays on file with why.

    Raises
    ------
    TriageError: something was done or decided about it; that cannot have been a mistake of the eye.
    """
    finding = case.finding(finding_id)
    named = [each for attempt in case.attempts for each in attempt.findings]
    named += [each.finding for each in case.overrides if each.finding]
    if finding_id in named:
        raise TriageError(
            f'finding "{finding_id}" has a record and cannot be withdrawn',
            mend="leave it as it is, with the reason",
        )
    entry = validated(Withdrawn, {"at": at, "reason": reason, "finding": finding})
    kept = tuple(each for each in case.findings if each.id != finding_id)
    return _with(case, findings=kept, withdrawn=(*case.withdrawn, entry))


def with_sign(case: Case, finding_id: str, question: str, answer: str | None) -> Case:
    """Return the case with one sign of a finding answered; None takes the answer back."""
    signs = _merged(case.finding(finding_id).signs, {question: answer})
    return with_changed(case, finding_id, signs=signs)


def with_restated(
    old: Case, new: Case, at: datetime, finding_id: str, questions: Iterable[str]
) -> Case:
    """Return the new case with what was told of a finding before and is told again on file.

    A sign may change when the place is worked on; before that, one of two answers is wrong.
    """
    before = next((f.signs for f in old.findings if f.id == finding_id), FrozenMap())
    worked_on = {name for attempt in old.attempts for name in attempt.findings}
    after, doubted = new.finding(finding_id).signs, old.in_doubt()
    again = [
        {"at": at, "finding": finding_id, "question": q, "before": before[q], "after": after[q]}
        for q in questions
        if q in before and q in after and finding_id not in worked_on
        if before[q] != after[q] or (finding_id, q) in doubted
    ]
    told = tuple(validated(Restated, each) for each in again)
    return _with(new, restated=(*new.restated, *told)) if told else new


def with_changed(case: Case, finding_id: str, **changed: Any) -> Case:
    """Return the case with fields of a finding changed, such as ``named`` or ``size_um`` [um]."""
    finding = validated(Finding, {**dict(case.finding(finding_id)), **changed})
    return with_finding(case, finding)


def with_accepted(case: Case, finding_id: str, reason: str) -> Case:
    """Return the case with a finding accepted as it is, for a reason."""
    return with_changed(case, finding_id, accepted=True, reason=reason)


def with_attempt(case: Case, attempt: Attempt) -> Case:
    """Return the case with an attempt recorded behind all others."""
    return _with(case, attempts=(*case.attempts, attempt))


def with_correction(case: Case, attempt_id: str, at: datetime, **fields: Any) -> Case:
    """Return the case with a record that replaces an earlier attempt, which stays on file.

    Parameters
    ----------
    case       the case
    attempt_id the attempt to correct
    at         time of the correction
    fields     what differs; ``outcome="not-done"`` undoes the attempt. Where the corrected outcome
               was worse or damage and the new one is not, ``note`` must hold the reason.
    """
    original = case.attempt(attempt_id)
    content = {**dict(original), "note": "", **fields}
    content.update(id=case.next_attempt_id(), at=at, corrects=attempt_id)
    return with_attempt(case, validated(Attempt, content))


def with_release(case: Case, at: datetime, attempt_id: str, reason: str) -> Case:
    """Return the case with a hold released by a person, for a written reason."""
    case.attempt(attempt_id)
    release = validated(Release, {"at": at, "attempt": attempt_id, "reason": reason})
    return _with(case, releases=(*case.releases, release))


def with_override(case: Case, at: datetime, kind: str, **fields: Any) -> Case:
    """Return the case with a preference of the user added."""
    override = validated(Override, {"at": at, "kind": kind, **fields})
    return _with(case, overrides=(*case.overrides, override))


def with_timer(case: Case, timer: Timer) -> Case:
    """Return the case with a dwell timer running; one of the same step is replaced."""
    return _with(case, timers=(*_others(case, timer.step), timer))


def without_timer(case: Case, step: str) -> Case:
    """Return the case without the timer of a step, if it has one."""
    return _with(case, timers=_others(case, step))


def _others(case: Case, step: str) -> tuple[Timer, ...]:
    return tuple(timer for timer in case.timers if timer.step != step)


def _with(case: Case, **changed: Any) -> Case:
    return validated(Case, {**dict(case), **changed})


def _merged(old: Mapping[str, Any], new: Mapping[str, Any]) -> dict[str, Any]:
    return {key: held for key, held in {**old, **new}.items() if held is not None}
