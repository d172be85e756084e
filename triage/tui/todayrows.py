"""The rows of the bench day: its order of work, the chambers, the record, what worked."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from rich.text import Text

from triage.history.benchday import BenchDay
from triage.history.table import HistoryRow
from triage.history.watch import ChamberWatch
from triage.history.words import (
    NO_ATTEMPT,
    NO_CHAMBER,
    NOTHING,
    attempt_words,
    chamber_lines,
    day_sections,
    entry_words,
)
from triage.tui.hanging import BOLD, Hanging, hanging

SIGN = 13
WHEN = 18
#: rows a list is given; the commands print all
MOST_ROWS = 300


@dataclass(frozen=True)
class Row:
    """One row; Enter opens the plan of its case, if it has one."""

    prompt: Hanging | Text
    case: str = ""
    is_title: bool = False
    has_photos: bool = False


def _title(text: str) -> Row:
    return Row(Text(text, style="bold underline"), is_title=True)


def day_rows(day: BenchDay) -> tuple[Row, ...]:
    """Return the order of the day, and behind it what is aired, runs on, or waits."""
    return tuple(_day_rows(day))


def _day_rows(day: BenchDay) -> Iterator[Row]:
    for entry in day.plan.entries:
        span, what, whose = entry_words(entry)
        yield Row(hanging(span, (what, BOLD), whose, width=SIGN), entry.case)
    if not day.plan.entries:
        yield Row(hanging("", NOTHING, width=SIGN))
    for section in day_sections(day):
        yield _title(section.head)
        for line, case in section.lines:
            yield Row(hanging("  -", line), case)


def chamber_rows(chambers: Iterable[ChamberWatch]) -> tuple[Row, ...]:
    """Return the running chambers, the next look first."""
    rows = []
    for each in chambers:
        first, *more = chamber_lines(each)
        sign = "@ LOOK NOW" if each.is_overdue else "@ runs"
        prompt = hanging(sign, (first, BOLD), *(line.strip() for line in more), width=SIGN)
        rows.append(Row(prompt, each.running.case))
    return tuple(rows) or (Row(hanging("", NO_CHAMBER, width=SIGN)),)


def record_rows(attempts: tuple[HistoryRow, ...]) -> tuple[Row, ...]:
    """Return attempts, the newest first."""
    rows = []
    for attempt in attempts[:MOST_ROWS]:
        when, what, more = attempt_words(attempt)
        pictured = bool(attempt.photo_before or attempt.photo_after)
        prompt = hanging(when, (what, BOLD), more, width=WHEN)
        rows.append(Row(prompt, attempt.case, has_photos=pictured))
    return tuple(rows) or (Row(hanging("", NO_ATTEMPT, width=WHEN)),)


def text_rows(text: str) -> tuple[Row, ...]:
    """Return lines of a text as rows; a line that is not set in is a title."""
    return tuple(
        Row(hanging("  -", line.strip())) if line.startswith(" ") else _title(line)
        for line in text.splitlines()[:MOST_ROWS]
    )
