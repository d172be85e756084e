"""The day, the chambers and the record as plain lines: no boxes, no colour."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from triage.history.benchday import BenchDay
from triage.history.daytypes import DAY_MIN, NEVER, Airing, Later, Session, sessions_of
from triage.history.evidence import Evidence
from triage.history.sharing import EntryResult
from triage.history.table import HistoryRow, PhotoPair
from triage.history.usage import MonthLine, StockLine
from triage.history.watch import ChamberWatch

KINDS = {"start": "begin", "whole": "do", "look": "look", "finish": "end"}


def clock(minute: int) -> str:
    """Return a minute of the day as 09:05, with the day where it is another one."""
    day, rest = divmod(minute, DAY_MIN)
    text = f"{rest // 60:02}:{rest % 60:02}"
    return f"{text} in {day} d" if day else text


def day_text(day: BenchDay) -> str:
    """Return the bench day as text."""
    return "\n".join(_day_lines(day)) + "\n"


def _day_lines(day: BenchDay) -> Iterator[str]:
    plan = day.plan
    yield f"bench day {day.midnight:%Y-%m-%d}: {day.cases} cases"
    for entry in plan.entries:
        amount = f", {entry.amount_ml:g} mL" if entry.amount_ml is not None else ""
        late = f"  LATE by {entry.late_min} min" if entry.late_min else ""
        yield (
            f"  {clock(entry.begin_min)}-{clock(entry.end_min)}  {KINDS[entry.kind]}: "
            f"{entry.name}{amount} - {entry.case} [{entry.step}]{late}"
        )
    if not plan.entries:
        yield "  nothing to do at the bench today"
    yield from _listed("sessions", [_session(s) for s in sessions_of(plan) if len(s.steps) > 1])
    yield from _listed(AIRING, [_airing(each) for each in plan.airings])
    yield from _listed("ends on another day", [_later(each) for each in plan.later])
    yield from _listed("not today", [f"{x.case} {x.name}: {x.because}" for x in plan.left_out])
    if plan.entries:
        yield (
            f"ends {clock(plan.ends_min)}; no order of this work can end before "
            f"{clock(plan.bound_min)} ({plan.over_bound:.0%} longer than that)"
        )


AIRING = "air the room: nobody in it but for steps of the same agent"


def _listed(head: str, lines: Sequence[str]) -> Iterator[str]:
    if lines:
        yield head
    for line in lines:
        yield f"  {line}"


def _session(session: Session) -> str:
    span = f"{clock(session.begin_min)}-{clock(session.end_min)}"
    return f"{span}  {session.agent}: {len(session.steps)} steps"


def _airing(airing: Airing) -> str:
    never = airing.end_min - airing.begin_min >= NEVER
    until = " to the end of the day" if never else f"-{clock(airing.end_min)}"
    return f"{clock(airing.begin_min)}{until}  {airing.agent}"


def _later(later: Later) -> str:
    last = "" if later.last_min >= NEVER else f", at the latest {clock(later.last_min)}"
    return f"from {clock(later.first_min)}{last}  {later.name} - {later.case} [{later.step}]"


def chambers_text(chambers: Iterable[ChamberWatch]) -> str:
    """Return the running chambers as text, one block each."""
    lines = []
    for each in chambers:
        lines.append(each.sentence)
        if not each.has_inhibitor:
            lines.append("  no mould inhibitor in it")
        lines.append(f"  {each.mould.sentence}")
    return "\n".join(lines or ["no chamber runs"]) + "\n"


def evidence_text(evidence: Evidence) -> str:
    """Return every group on record as text, the most often tried first."""
    lines = [f"{evidence.size} trials on record"]
    for group in evidence.all_groups():
        key = (group.method, group.deposit, group.zone, group.taxon)
        where = " / ".join(word or "-" for word in key)
        lines.append(f"  {where}: {group.text}")
    return "\n".join(lines) + "\n"


def history_text(rows: Iterable[HistoryRow]) -> str:
    """Return the history as text, one attempt a line."""
    lines = []
    for row in rows:
        amount = f" {row.amount_ml:g} mL" if row.amount_ml is not None else ""
        minutes = f" {row.minutes:g} min" if row.minutes is not None else ""
        note = f" - {row.note}" if row.note else ""
        photos = " [photos]" if row.photo_before or row.photo_after else ""
        lines.append(
            f"{row.at[:16]}  {row.case}  {row.method or row.step}  {row.deposit or '-'}  "
            f"{row.zone or '-'}  {row.outcome}{amount}{minutes}{photos}{note}"
        )
    return "\n".join(lines or ["no attempt on record"]) + "\n"


def photos_text(pairs: Iterable[PhotoPair]) -> str:
    """Return photos before and after as text."""
    lines = [
        f"{pair.case} {pair.finding or 'whole specimen'}: before {pair.before or '-'}, "
        f"after {pair.after or '-'}"
        for pair in pairs
    ]
    return "\n".join(lines or ["no photo on record"]) + "\n"


def usage_text(months: Iterable[MonthLine], stock: Iterable[StockLine]) -> str:
    """Return what evaporated by month and what is left in the bottles."""
    lines = ["evaporated, upper bound"]
    lines += [
        f"  {m.month}  {m.agent}: {m.evaporated_g:.3g} g of {m.used_ml:.4g} mL, "
        f"{m.attempts} attempts"
        for m in months
    ] or ["  nothing on record"]
    lines.append("stock")
    lines += [_stock_words(line) for line in stock] or ["  no bottle in the bench file"]
    return "\n".join(lines) + "\n"


def _stock_words(line: StockLine) -> str:
    def ml(held: float | None) -> str:
        return "not known" if held is None else f"{held:.4g} mL"

    name = f"{line.agent} ({line.label})" if line.label else line.agent
    return f"  {name}: used {ml(line.used_ml)}, left {ml(line.left_ml)}; {line.because}"


def results_text(results: Iterable[EntryResult]) -> str:
    """Return what became of each entry as text."""
    lines = []
    for each in results:
        name = f" as {each.case}" if each.standing == "beside" else ""
        because = f": {each.because}" if each.because else ""
        lines.append(f"{each.standing}  {each.entry}{name}{because}")
    return "\n".join(lines or ["nothing in it"]) + "\n"
