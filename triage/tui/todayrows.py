"""The rows of the bench day: its order of work, the chambers, the record, what worked.

The commands print ids, which can be copied; here everything is called by its name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from triage.case.models import Case
from triage.case.naming import one_line
from triage.history.benchday import BenchDay
from triage.history.evidence import Evidence
from triage.history.table import HistoryRow
from triage.history.usage import MonthLine, StockLine
from triage.history.watch import ChamberWatch
from triage.knowledge.book import Knowledge
from triage.plan.names import zone_words
from triage.show.blocks import Line
from triage.show.compared import method_photo_blocks
from triage.show.record import (
    NO_ATTEMPT,
    NO_CHAMBER,
    NOTHING,
    Section,
    attempt_words,
    chamber_lines,
    day_sections,
    entry_words,
    evidence_blocks,
    running_sections,
    usage_blocks,
)
from triage.show.words import OUTCOME_WORDS
from triage.tui.hanging import BOLD, Hanging, hanging
from triage.tui.widgets.actionlist import Row, title_row

SIGN = 13
WHEN = 18
#: rows a list is given; the commands print all
MOST_ROWS = 300


@dataclass(frozen=True)
class Names:
    """What cases, steps and entries of the knowledge are called.

    Parameters
    ----------
    knowledge methods, deposits, zones, groups and agents
    case_of   the case with an id, None if it cannot be read
    """

    knowledge: Knowledge
    case_of: Callable[[str], Case | None]

    def case(self, case_id: str) -> str:
        """Return the title of a case, its id if it has none."""
        case = self.case_of(case_id)
        return one_line(case.title) or case.id if case else case_id

    def place(self, case_id: str, step: str) -> str:
        """Return the zone that a step works on; step ids begin with their finding."""
        case = self.case_of(case_id)
        for found in case.findings if case else ():
            zone = self.knowledge.zones.get(found.zone)
            if step.startswith(f"{found.id}-") and zone is not None:
                return zone_words(zone.name, found.side)
        return zone_words(None, None)

    def of(self, case_id: str, step: str) -> str:
        """Return a case, or a step of it, in words."""
        return f"{self.case(case_id)}{f': {self.place(case_id, step)}' if step else ','}"

    def called(self, kind: str, key: str) -> str:
        """Return the name of a method, a zone, an agent, a group, a deposit or a state."""
        held = self.knowledge.table(kind).get(key)
        if held is None and kind == "deposit":
            held = self.knowledge.conditions.get(key)
        return str(getattr(held, "name", key))

    def named(self, row: HistoryRow) -> HistoryRow:
        """Return an attempt with names in place of ids."""
        return replace(
            row,
            case=self.case(row.case),
            method=self.called("method", row.method),
            deposit=self.called("deposit", row.deposit),
            zone=self.called("zone", row.zone),
            outcome=OUTCOME_WORDS.get(row.outcome, row.outcome),
        )


@dataclass(frozen=True)
class DayRow(Row):
    """One row; Enter opens the plan of its case, if it has one."""

    case: str = ""
    has_photos: bool = False


def _row(prompt: Hanging, case: str = "", *, has_photos: bool = False) -> DayRow:
    return DayRow("", prompt, case=case, has_photos=has_photos)


def day_rows(day: BenchDay, names: Names) -> Iterator[Row]:
    """Yield what runs, the order of the day, and behind it what is aired, runs on, or waits."""
    yield from _section_rows(running_sections(day, names.of), names)
    for entry in day.plan.entries:
        span, what, whose = entry_words(entry, names.of)
        yield _row(hanging(span, (what, BOLD), whose, width=SIGN), entry.case)
    if not day.plan.entries:
        yield _row(hanging("", NOTHING, width=SIGN))
    yield from _section_rows(day_sections(day, names.of), names)


def _section_rows(sections: Iterable[Section], names: Names) -> Iterator[Row]:
    for section in sections:
        yield title_row(section.head)
        for line, case in section.lines:
            title = names.case(case)  # a case left out as a whole stands there twice
            yield _row(hanging("  -", line.replace(f"{title}, {title}:", f"{title}:")), case)


def chamber_rows(chambers: Sequence[ChamberWatch], names: Names) -> Iterator[Row]:
    """Yield the running chambers, the next look first."""
    for each in chambers:
        case, (first, *more) = each.running.case, chamber_lines(each)
        sign = "@ LOOK NOW" if each.is_overdue else "@ runs"
        told = (first.replace(case, names.case(case), 1), BOLD)
        yield _row(hanging(sign, told, *more, width=SIGN), case)
    if not chambers:
        yield _row(hanging("", NO_CHAMBER, width=SIGN))


def record_rows(attempts: tuple[HistoryRow, ...], names: Names) -> Iterator[Row]:
    """Yield attempts, the newest first."""
    for attempt in attempts[:MOST_ROWS]:
        when, what, more = attempt_words(names.named(attempt))
        pictured = bool(attempt.photo_before or attempt.photo_after)
        prompt = hanging(when, (what, BOLD), more, width=WHEN)
        yield _row(prompt, attempt.case, has_photos=pictured)
    if not attempts:
        yield _row(hanging("", NO_ATTEMPT, width=WHEN))


def matching(
    attempts: Iterable[HistoryRow], words: tuple[str, ...], titles: Mapping[str, str], names: Names
) -> tuple[HistoryRow, ...]:
    """Return the attempts in which every word stands, as it is shown or as it is kept.

    ``titles`` are the titles of the cases by id.
    """
    wanted = [word.casefold() for word in words]

    def said(row: HistoryRow) -> str:
        called = names.named(row)
        parts = (
            *(row.case, titles.get(row.case, ""), row.note, row.observed, row.step),
            *(row.method, row.deposit, row.zone, row.outcome),
            *(called.method, called.deposit, called.zone, called.outcome),
        )
        return " ".join(parts).casefold()

    return tuple(row for row in attempts if all(word in said(row) for word in wanted))


def used_rows(
    months: Iterable[MonthLine],
    stock: Iterable[StockLine],
    evidence: Evidence,
    attempts: Iterable[HistoryRow],
    names: Names,
) -> Iterator[Row]:
    """Yield what evaporated, what is left, how often each method worked, and by the photos."""
    told = (
        *usage_blocks(months, stock, names.called),
        *evidence_blocks(evidence, names.called),
        *method_photo_blocks(attempts, names.called),
    )
    for line in [block for block in told if isinstance(block, Line)][:MOST_ROWS]:
        yield _row(hanging("  -", line.text)) if line.depth else title_row(line.text)
