"""The day, the chambers and the record as plain lines: no boxes, no colour."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import timedelta

from triage.case.naming import one_line
from triage.history.benchday import BenchDay
from triage.history.daytypes import (
    DAY_MIN,
    NEVER,
    Airing,
    DayPlan,
    Entry,
    Later,
    Session,
    sessions_of,
)
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
    if not day:
        return text
    return f"{text} tomorrow" if day == 1 else f"{text} in {day} days"


def day_text(day: BenchDay) -> str:
    """Return the bench day as text."""
    return "\n".join(_day_lines(day)) + "\n"


def _day_lines(day: BenchDay) -> Iterator[str]:
    yield f"bench day {day.midnight:%Y-%m-%d}: {day.cases} cases"
    for entry in day.plan.entries:
        span, what, whose = entry_words(entry)
        yield f"  {span}  {what} - {whose}"
    if not day.plan.entries:
        yield f"  {NOTHING}"
    for section in day_sections(day):
        yield section.head
        yield from (f"  {line}" for line, _ in section.lines)
    if day.plan.entries:
        yield end_words(day.plan)


NOTHING = "nothing to do at the bench today"


def entry_words(entry: Entry) -> tuple[str, str, str]:
    """Return when, what, and of which case and step, with what is to be said about it."""
    amount = f", {entry.amount_ml:g} mL" if entry.amount_ml is not None else ""
    late = f"  LATE by {entry.late_min} min" if entry.late_min else ""
    return (
        f"{clock(entry.begin_min)}-{clock(entry.end_min)}",
        f"{KINDS[entry.kind]}: {entry.name}{amount}",
        f"{entry.case} [{entry.step}]{late}",
    )


@dataclass(frozen=True, slots=True)
class Section:
    """What stands under one head; each line with the id of its case, empty if it is of none."""

    head: str
    lines: tuple[tuple[str, str], ...]


def day_sections(day: BenchDay) -> tuple[Section, ...]:
    """Return what a day says behind its order of work; no section is empty."""
    plan = day.plan
    sessions = [_session(each) for each in sessions_of(plan) if len(each.steps) > 1]
    sections = (
        Section("sessions", tuple((line, "") for line in sessions)),
        Section(AIRING, tuple((_airing(each), "") for each in plan.airings)),
        Section("ends on another day", tuple((_later(day, x), x.case) for x in plan.later)),
        Section(
            "not today",
            tuple((f"{x.case} {x.name}: {x.because}", x.case) for x in plan.left_out),
        ),
    )
    return tuple(section for section in sections if section.lines)


def end_words(plan: DayPlan) -> str:
    """Return when the day ends, and how much later than it need."""
    return f"ends {clock(plan.ends_min)}; {_how_good(plan)}"


def _how_good(plan: DayPlan) -> str:
    if plan.ends_min <= plan.bound_min:
        return "no order of this work ends earlier"
    return (
        f"no order of this work can end before {clock(plan.bound_min)}: "
        f"at most {100 * plan.over_bound:.0f} % longer than it need be"
    )


AIRING = "air the room: nobody in it but for steps of the same agent"


def _session(session: Session) -> str:
    span = f"{clock(session.begin_min)}-{clock(session.end_min)}"
    return f"{span}  {session.agent}: {len(session.steps)} steps"


def _airing(airing: Airing) -> str:
    never = airing.end_min - airing.begin_min >= NEVER
    until = " to the end of the day" if never else f"-{clock(airing.end_min)}"
    return f"{clock(airing.begin_min)}{until}  {airing.agent}"


def _later(day: BenchDay, later: Later) -> str:
    def moment(minute: int) -> str:
        return f"{day.midnight + timedelta(minutes=minute):%a %Y-%m-%d %H:%M}"

    last = "" if later.last_min >= NEVER else f", at the latest {moment(later.last_min)}"
    return f"from {moment(later.first_min)}{last}  {later.name} - {later.case} [{later.step}]"


def chambers_text(chambers: Iterable[ChamberWatch]) -> str:
    """Return the running chambers as text, one block each."""
    lines = [line for each in chambers for line in chamber_lines(each)]
    return "\n".join(lines or [NO_CHAMBER]) + "\n"


NO_CHAMBER = "no chamber runs"


def chamber_lines(chamber: ChamberWatch) -> tuple[str, ...]:
    """Return one running chamber in lines, what is wrong with it included."""
    bare = () if chamber.has_inhibitor else ("  no mould inhibitor in it",)
    return (chamber.sentence, *bare, f"  {chamber.mould.sentence}")


def evidence_text(evidence: Evidence) -> str:
    """Return every group on record as text, the most often tried first."""
    lines = [f"{evidence.size} trials on record"]
    for group in evidence.all_groups():
        key = (group.method, group.deposit, group.zone, group.taxon)
        where = " / ".join(word or "-" for word in key)
        lines.append(f"  {where}: {group.text}")
    return "\n".join(lines) + "\n"


def history_text(rows: Iterable[HistoryRow]) -> str:
    """Return the history as a table, one attempt a line, its note last."""
    cells = [_cells(row) for row in rows]
    if not cells:
        return f"{NO_ATTEMPT}\n"
    table = [HISTORY_HEAD, *cells]
    widths = [max(len(row[place]) for row in table) for place in range(len(HISTORY_HEAD))]
    lines = (
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip()
        for row in table
    )
    return "\n".join(lines) + "\n"


NO_ATTEMPT = "no attempt on record passes"
HISTORY_HEAD = (
    "when", "case", "method", "deposit", "zone", "outcome", "mL", "min", "photos", "note",
)  # fmt: skip


def _cells(row: HistoryRow) -> tuple[str, ...]:
    photos = [name for name, at in (("before", row.photo_before), ("after", row.photo_after)) if at]
    return (
        row.at[:16].replace("T", " "),
        row.case,
        row.method or row.step,
        row.deposit or "-",
        row.zone or "-",
        row.outcome,
        "-" if row.amount_ml is None else f"{row.amount_ml:g}",
        "-" if row.minutes is None else f"{row.minutes:g}",
        ", ".join(photos) or "-",
        " ".join(row.note.split()) or "-",
    )


def attempt_words(row: HistoryRow) -> tuple[str, str, str]:
    """Return one attempt where a table is too wide: when, what became of what, and the rest."""
    when, case, method, deposit, zone, outcome, ml, minutes, photos, note = _cells(row)
    figures = [f"{ml} mL"] * (ml != "-") + [f"{minutes} min"] * (minutes != "-")
    more = [f"{deposit} / {zone}", *figures]
    more += [f"photos {photos}"] * (photos != "-") + [note] * (note != "-")
    return when, f"{outcome}: {method} - {case}", "; ".join(more)


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
        f"{m.attempts} attempt{'' if m.attempts == 1 else 's'}"
        for m in months
    ] or ["  nothing on record"]
    lines.append("stock")
    lines += [_stock_words(line) for line in stock] or ["  no bottle in the bench file"]
    return "\n".join(lines) + "\n"


def _stock_words(line: StockLine) -> str:
    def ml(held: float | None) -> str:
        return "not known" if held is None else f"{held:.4g} mL"

    name = f"{line.agent} ({one_line(line.label)})" if line.label else line.agent
    return f"  {name}: used {ml(line.used_ml)}, left {ml(line.left_ml)}; {line.because}"


def results_text(results: Iterable[EntryResult]) -> str:
    """Return what became of each entry as text."""
    lines = []
    for each in results:
        name = f" as {each.case}" if each.standing == "beside" else ""
        because = f": {each.because}" if each.because else ""
        lines.append(f"{each.standing}  {each.entry}{name}{because}")
    return "\n".join(lines or ["nothing in it"]) + "\n"
