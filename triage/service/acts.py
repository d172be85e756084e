"""What the faces call: the day, the chambers, the record of a case, and acts that rest on them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime
from pathlib import Path

from triage.case.changes import with_override
from triage.case.models import OUTCOMES, Case
from triage.case.store import load_case, update_case
from triage.errors import TriageError, did_you_mean
from triage.history.advice import SkipSuggestion, skip_suggestions
from triage.history.benchday import BenchDay, DayMaker
from triage.history.daytypes import DAY_MIN, Hours, LeftOut
from triage.history.sharing import Check
from triage.history.table import (
    Filter,
    HistoryRow,
    MonthLine,
    StockLine,
    check_filter,
    evaporated,
    history,
    stock_left,
)
from triage.history.watch import LOOKED, ChamberWatch, chambers_of, watch
from triage.plan.model import Plan
from triage.service.workshop import Workshop

#: when work begins and ends if it is not said [min of the day]; the least planned from now on
BEGINS_MIN, ENDS_MIN, LEAST_MIN = 9 * 60, 18 * 60, 4 * 60
MOST_CASES = 60


def attempts_on_record(workshop: Workshop, chosen: Filter) -> tuple[HistoryRow, ...]:
    """Return the attempts of the folder that pass a filter, newest first.

    Raises
    ------
    TriageError: a word of the filter that nothing can pass.
    """
    knowledge, said = workshop.knowledge, chosen.outcome
    if said is not None and said not in OUTCOMES:
        if not any(kind.meant(said) for kind in knowledge.outcomes.values()):
            known = {w for kind in knowledge.outcomes.values() for w in kind.words.values()}
            hyphened = {word.replace(" ", "-") for word in known}
            mend = did_you_mean(said, sorted({*OUTCOMES, *hyphened}))
            raise TriageError(f'unknown outcome "{chosen.outcome}"', mend=mend)
        chosen = replace(chosen, outcome=None)
    index = workshop.folder_record.index()
    if index is None:
        return ()
    check_filter(index, chosen, knowledge)
    rows = history(index, chosen)
    if said is None or chosen.outcome is not None:
        return rows
    kinds = ((row, knowledge.outcomes_at(row.method)) for row in rows)
    return tuple(row for row, kind in kinds if kind and kind.meant(said) == row.outcome)


def used_up(workshop: Workshop) -> tuple[tuple[MonthLine, ...], tuple[StockLine, ...]]:
    """Return what evaporated by month, and what is left in the bottles of the bench."""
    columns = workshop.folder_record.columns()
    months = evaporated(workshop.knowledge, columns)
    return months, stock_left(workshop.knowledge, workshop.bench, columns)


def newest_cases(workshop: Workshop, most: int = MOST_CASES) -> tuple[Case, ...]:
    """Return the cases that were changed last, readable ones only, in the order of their ids."""
    entries = sorted(workshop.entries(), key=lambda e: (-e.mtime_ns, e.id))
    found: list[Case] = []
    for entry in entries:
        if len(found) == most:
            break
        if not entry.error:
            try:
                found.append(load_case(entry.path))
            except TriageError:
                continue  # changed since the list was made; it is shown there with its fault
    return tuple(sorted(found, key=lambda case: case.id))


def bench_day(
    workshop: Workshop,
    cases: Sequence[str] = (),
    hours: Hours | None = None,
    most: int = MOST_CASES,
) -> BenchDay:
    """Return what to do today in which order.

    Parameters
    ----------
    cases ids or files; none takes the newest ``most`` of the folder
    hours working hours; from this minute on if none are given
    """
    chosen = [workshop.load(case) for case in cases] if cases else newest_cases(workshop, most)
    broken = () if cases else [entry for entry in workshop.entries() if entry.error]
    aside = [LeftOut(entry.id, "", "set aside", entry.error) for entry in broken]
    record, day = workshop.folder_record.columns(), workshop.day()
    maker = DayMaker(workshop.planner, workshop.bench, day, workshop.clock(), record)
    return maker.make(chosen, hours or hours_from(workshop.clock()), set_aside=aside)


def hours_from(now: datetime, opens: int | None = None, closes: int | None = None) -> Hours:
    """Return the hours of work: today it begins now and ends in the evening, if not said."""
    now_min = now.hour * 60 + now.minute
    begins = min(now_min, BEGINS_MIN) if opens is None else opens
    ends = min(DAY_MIN, max(ENDS_MIN, now_min + LEAST_MIN)) if closes is None else closes
    return Hours(begins, ends)


def running_chambers(workshop: Workshop, most: int = 10 * MOST_CASES) -> tuple[ChamberWatch, ...]:
    """Return the running chambers of the folder, the next look first."""
    cases = newest_cases(workshop, most)
    return watch(workshop.knowledge, workshop.bench, cases, workshop.clock())


def note_look(workshop: Workshop, case: str | Path, note: str = "") -> Case:
    """Record a look into the chamber in which a case lies, and return the case.

    Raises
    ------
    TriageError: no chamber runs in this case.
    """

    def change(old: Case) -> Case:
        running = chambers_of(workshop.knowledge, workshop.bench, old, workshop.clock())
        if not running:
            raise TriageError(
                f'no chamber runs in case "{old.id}"', mend="start its timer in the plan first"
            )
        for each in running:
            old = with_override(
                old, workshop.clock(), LOOKED, method=each.running.method, reason=note
            )
        return old

    return update_case(workshop.path_of(case), change)


def suggestions_for(workshop: Workshop, case: Case, plan: Plan) -> tuple[SkipSuggestion, ...]:
    """Return the rungs of a plan that seldom worked here and could be skipped."""
    return skip_suggestions(plan, case.taxon, workshop.folder_record.evidence())


def accept_suggestion(workshop: Workshop, case: str | Path, step: str) -> Case:
    """Record that a person skips a rung as suggested, with the suggestion as the reason.

    Raises
    ------
    TriageError: there is no such suggestion for the case as it stands now.
    """
    return _accepted(workshop, case, None, step=step)


def accept_method(workshop: Workshop, case: str | Path, finding: str | None, method: str) -> Case:
    """Record that a person skips a method as suggested; no finding takes the first that has it.

    Raises
    ------
    TriageError: there is no such suggestion for the case as it stands now.
    """
    workshop.knowledge.require("method", method)
    return _accepted(workshop, case, finding, method=method)


def _accepted(workshop: Workshop, case: str | Path, finding: str | None, **told: str) -> Case:
    """Skip the first suggestion whose step, or method, is the one that is told."""
    now = workshop.load(case)
    found = suggestions_for(workshop, now, workshop.plan(now))
    ((kind, name),) = told.items()
    for each in found:
        if getattr(each, kind) == name and finding in (None, each.finding):
            reason = f"suggested by the record: {each.reason}"
            return workshop.skip(case, each.finding, each.method, reason)
    mend = "record attempts first" if kind == "step" else "give --reason instead"
    if found:
        mend = did_you_mean(name, [getattr(each, kind) for each in found])
    raise TriageError(f'nothing suggests skipping "{name}"', mend=mend)


def usable_here(workshop: Workshop) -> Check:
    """Return a check that a case from elsewhere names only what the knowledge here has."""

    def check(case: Case) -> None:
        workshop.planner.plan(case, workshop.bench)

    return check
