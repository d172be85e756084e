"""The bench day, the chambers, and what stands on record."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import replace
from datetime import timedelta

from triage.case.naming import one_line
from triage.history.benchday import BenchDay
from triage.history.daytypes import DAY_MIN, NEVER, Airing, Later, sessions_of
from triage.history.evidence import Evidence
from triage.history.sharing import EntryResult
from triage.history.table import HistoryRow, MonthLine, PhotoPair, StockLine
from triage.history.watch import ChamberWatch, Running
from triage.knowledge.book import Knowledge
from triage.show.blocks import Block, Line, Table
from triage.show.compared import measured_words
from triage.show.words import duration

# What a case, or a step of a case, is called.
Of = Callable[[str, str], str]
KINDS = {"start": "begin", "whole": "do", "look": "look", "finish": "end"}


def clock(minute: int) -> str:
    """Return a minute of the day as 09:05, with the day where it is another one."""
    day, rest = divmod(minute, DAY_MIN)
    text = f"{rest // 60:02}:{rest % 60:02}"
    if not day:
        return text
    return f"{text} tomorrow" if day == 1 else f"{text} in {day} days"


def plainly(case: str, step: str) -> str:
    """Return case and step by their ids, which can be copied."""
    return f"{case} [{step}]" if step else case


def day_head(day: BenchDay) -> str:
    """Return when a day was planned, of how many cases, and when it ends."""
    ends = f"; ends {clock(day.plan.ends_min)}" if day.plan.entries else ""
    return f"{day.now:%Y-%m-%d}, planned at {day.now:%H:%M}, {day.cases} cases{ends}"


def day_blocks(day: BenchDay, of: Of = plainly) -> Iterator[Line]:
    """Yield what runs, the first end first, the order of work, and what stands behind it."""
    plan = day.plan
    yield from _under("running now", ((_running(day, each, of), each) for each in day.running))
    for entry in plan.entries:
        amount = f", {entry.amount_ml:g} mL" if entry.amount_ml is not None else ""
        late = f"  LATE by {entry.late_min} min" if entry.late_min else ""
        yield Line(
            f"{KINDS[entry.kind]}: {entry.name}{amount}",
            f"{clock(entry.begin_min)}-{clock(entry.end_min)}",
            depth=1,
            more=(f"{of(entry.case, entry.step)}{late}",),
            about=entry,
        )
    if not plan.entries:
        yield Line("nothing to do at the bench today", depth=1)
    sessions = (
        f"{clock(each.begin_min)}-{clock(each.end_min)}  {each.agent}: {len(each.steps)} steps"
        for each in sessions_of(plan)
        if len(each.steps) > 1
    )
    yield from _under("sessions", ((told, None) for told in sessions))
    yield from _under(AIRING, ((_airing(each), None) for each in plan.airings))
    later = ((_later(day, each, of), each) for each in plan.later)
    yield from _under("ends on another day", later)
    # A case that is left out as a whole has its own name for that of the step.
    out = ((", ".join(dict.fromkeys((of(x.case, ""), x.name))), x) for x in plan.left_out)
    yield from _under("not today", ((f"{name}: {x.because}", x) for name, x in out))


def _under(head: str, told: Iterable[tuple[str, object]]) -> Iterator[Line]:
    """Yield a head and the lines under it, each with what it is about; nothing without a line."""
    lines = [Line(text, depth=1, about=about) for text, about in told]
    yield from [Line(head, is_bold=True), *lines] if lines else []


def _running(day: BenchDay, each: Running, of: Of) -> str:
    left_s = round((each.ends - day.now).total_seconds())
    when = f"in {duration(left_s)}" if left_s > 0 else "OVER"
    return f"{each.ends:%a %H:%M}, {when}  {each.name} - {of(each.case, each.step)}"


AIRING = "air the room: nobody in it but for steps of the same agent"


def _airing(airing: Airing) -> str:
    never = airing.end_min - airing.begin_min >= NEVER
    until = " to the end of the day" if never else f"-{clock(airing.end_min)}"
    return f"{clock(airing.begin_min)}{until}  {airing.agent}"


def _later(day: BenchDay, later: Later, of: Of) -> str:
    def moment(minute: int) -> str:
        return f"{day.midnight + timedelta(minutes=minute):%a %Y-%m-%d %H:%M}"

    last = "" if later.last_min >= NEVER else f", at the latest {moment(later.last_min)}"
    return f"from {moment(later.first_min)}{last}  {later.name} - {of(later.case, later.step)}"


def chamber_blocks(chambers: Sequence[ChamberWatch], of: Of = plainly) -> Iterator[Line]:
    """Yield the running chambers, the next look first, and what is wrong with each."""
    for each in chambers:
        run = each.running
        told = each.sentence.replace(run.case, of(run.case, ""), 1)
        yield Line(told, "@ LOOK NOW" if each.is_overdue else "@ runs", about=run)
        bare = () if each.has_inhibitor else ("no mould inhibitor in it",)
        yield from (Line(line, depth=1, about=run) for line in (*bare, each.mould.sentence))
    if not chambers:
        yield Line("no chamber runs")


def evidence_blocks(
    evidence: Evidence, called: Callable[[str, str], str] = lambda _, key: key
) -> tuple[Line, ...]:
    """Return every group on record, the most often tried first; ``called`` names (kind, id)."""
    kinds = ("method", "deposit", "zone", "taxon")
    lines = []
    for group in evidence.all_groups():
        words = (called(kind, getattr(group, kind)) for kind in kinds)
        method, *where = (word or "-" for word in words)
        lines.append(Line(f"{method} on {' / '.join(where)}: {group.text}", depth=1))
    many = f"{evidence.size} trial{'' if evidence.size == 1 else 's'} on record"
    return (Line(many, is_bold=True), *lines)


def history_blocks(rows: Iterable[HistoryRow], knowledge: Knowledge) -> tuple[Block, ...]:
    """Return the history as a table, one attempt a row, its note last."""
    cells = tuple(
        _cells(replace(row, outcome=knowledge.outcome_words(row.method, row.outcome)))
        for row in rows
    )
    return (Table(HISTORY_HEAD, cells),) if cells else (Line(NO_ATTEMPT),)


NO_ATTEMPT = "no attempt on record passes"
HISTORY_HEAD = (
    "when", "case", "method", "deposit", "zone", "outcome", "mL", "min", "photos", "note",
)  # fmt: skip


def _cells(row: HistoryRow) -> tuple[str, ...]:
    photos = [name for name, at in (("before", row.photo_before), ("after", row.photo_after)) if at]
    measured = measured_words(json.loads(row.measured)) if row.measured else ""
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
        "; ".join(filter(None, (measured, " ".join(row.note.split())))) or "-",
    )


def attempt_blocks(
    rows: Sequence[HistoryRow], named: Callable[[HistoryRow], HistoryRow]
) -> Iterator[Line]:
    """Yield attempts where a table is too wide; ``named`` gives one with names for ids."""
    for row in rows:
        when, case, method, deposit, zone, outcome, ml, minutes, photos, note = _cells(named(row))
        figures = [f"{ml} mL"] * (ml != "-") + [f"{minutes} min"] * (minutes != "-")
        more = [f"{deposit} / {zone}", *figures]
        more += [f"photos {photos}"] * (photos != "-") + [note] * (note != "-")
        yield Line(f"{outcome}: {method} - {case}", when, more=("; ".join(more),), about=row)
    if not rows:
        yield Line(NO_ATTEMPT)


def photo_blocks(pairs: Iterable[PhotoPair]) -> tuple[Line, ...]:
    """Return photos before and after."""
    lines = (
        f"{pair.case} {pair.finding or 'whole specimen'}: before {pair.before or '-'}, "
        f"after {pair.after or '-'}"
        for pair in pairs
    )
    return tuple(map(Line, lines)) or (Line("no photo on record"),)


def usage_blocks(
    months: Iterable[MonthLine],
    stock: Iterable[StockLine],
    called: Callable[[str, str], str] = lambda _, key: key,
) -> Iterator[Line]:
    """Yield what evaporated by month and what is left in the bottles."""
    used = [
        f"{m.month}  {called('agent', m.agent)}: {m.evaporated_g:.3g} g of {m.used_ml:.4g} mL, "
        f"{m.attempts} attempt{'' if m.attempts == 1 else 's'}"
        for m in months
    ]
    bottles = [f"{called('agent', line.agent)}{_stock_words(line)}" for line in stock]
    yield Line("evaporated, upper bound", is_bold=True)
    yield from (Line(told, depth=1) for told in used or ["nothing on record"])
    yield Line("stock", is_bold=True)
    yield from (Line(told, depth=1) for told in bottles or ["no bottle in the bench file"])


def _stock_words(line: StockLine) -> str:
    def ml(held: float | None) -> str:
        return "not known" if held is None else f"{held:.4g} mL"

    label = f" ({one_line(line.label)})" if line.label else ""
    return f"{label}: used {ml(line.used_ml)}, left {ml(line.left_ml)}; {line.because}"


def result_blocks(results: Iterable[EntryResult]) -> tuple[Line, ...]:
    """Return what became of each entry."""
    lines = []
    for each in results:
        name = f" as {each.case}" if each.standing == "beside" else ""
        because = f": {each.because}" if each.because else ""
        lines.append(Line(f"{each.standing}  {each.entry}{name}{because}"))
    return tuple(lines) or (Line("nothing in it"),)
