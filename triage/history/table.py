"""The attempts of a folder: filtered, as rows, CSV or JSON, their photos; and what they used."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass, fields
from datetime import date, datetime
from functools import cache
from typing import Any

import numpy as np

from triage.case.models import OUTCOMES
from triage.case.profile import Bench, Stock
from triage.errors import TriageError, did_you_mean
from triage.history.columns import TEXT_FIELDS, Columns, Flags
from triage.history.index import Index, case_names
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.substances import mg_per_ml, substance_of

#: signs with which a cell becomes a formula in a spreadsheet, the wide ones included, and what a
#: spreadsheet may drop before them
_FORMULA = ("=", "+", "-", "@", "\uff1d", "\uff0b", "\uff0d", "\uff20")
_DROPPED = ("\t", "\r", "\n")


@dataclass(frozen=True, slots=True)
class HistoryRow:
    """One attempt that counts, as the table shows it; times as recorded, with their time zone.

    ``measured``: the figures of its photos as JSON, empty where there are none.
    """

    case: str
    taxon: str
    attempt: str
    at: str
    step: str
    finding: str
    zone: str
    deposit: str
    method: str
    agent: str
    outcome: str
    amount_ml: float | None
    minutes: float | None
    note: str
    observed: str
    photo_before: str
    photo_after: str
    measured: str


@dataclass(frozen=True, slots=True)
class Filter:
    """What to show; None lets everything pass.

    ``since`` and ``until`` are days in the local time of each record, both included; ``words``
    must all stand in the note, the observation or the case id, letters large or small.
    """

    case: str | None = None
    taxon: str | None = None
    method: str | None = None
    deposit: str | None = None
    zone: str | None = None
    agent: str | None = None
    outcome: str | None = None
    since: date | None = None
    until: date | None = None
    words: tuple[str, ...] = ()
    has_photos: bool = False


_WORD_FILTERS = ("case", "taxon", "method", "deposit", "zone", "agent")


def check_filter(index: Index, chosen: Filter, knowledge: Knowledge) -> None:
    """Refuse a filter that nothing can pass: a word in neither record nor knowledge, or no days.

    Raises
    ------
    TriageError: the mend names the nearest word.
    """
    tables: dict[str, Iterable[str]] = {
        "case": case_names(index),
        "taxon": knowledge.taxa,
        "method": knowledge.methods,
        "deposit": knowledge.deposits,
        "zone": knowledge.zones,
        "agent": knowledge.agents,
    }
    for name in _WORD_FILTERS:
        word = getattr(chosen, name)
        if word is None:
            continue
        known = {*tables[name], *np.unique(getattr(index.columns, name)).tolist()} - {""}
        if word not in known:
            raise TriageError(f'unknown {name} "{word}"', mend=did_you_mean(word, sorted(known)))
    if chosen.since is not None and chosen.until is not None and chosen.since > chosen.until:
        raise TriageError(
            f"no day lies from {chosen.since} up to {chosen.until}",
            mend="give --since before --until",
        )


def chosen_rows(columns: Columns, chosen: Filter) -> Flags:
    """Return which attempts pass a filter, its words and photos left aside, shape (n,)."""
    kept: Flags = np.ones(columns.size, dtype=np.bool_)
    for name in _WORD_FILTERS:
        word = getattr(chosen, name)
        if word is not None:
            kept &= getattr(columns, name) == word
    if chosen.outcome is not None:
        kept &= columns.outcome == OUTCOMES.index(chosen.outcome)
    days = local_days(columns)
    if chosen.since is not None:
        kept &= days >= np.datetime64(chosen.since)
    if chosen.until is not None:
        kept &= days <= np.datetime64(chosen.until)
    return kept


def local_days(columns: Columns) -> Any:
    """Return the day of each attempt where it was made, numpy days, shape (n,)."""
    seconds = np.floor(columns.at_s + columns.offset_s).astype(np.int64)
    return seconds.astype("datetime64[s]").astype("datetime64[D]")


def history(index: Index, chosen: Filter | None = None) -> tuple[HistoryRow, ...]:
    """Return the attempts that pass a filter, newest first."""
    chosen = chosen or Filter()
    columns = index.columns
    numbers = np.flatnonzero(chosen_rows(columns, chosen))
    numbers = numbers[np.argsort(-columns.at_s[numbers], kind="stable")]
    texts = index.text_rows() if numbers.size else []
    rows = (_row(columns, number, texts[number]) for number in numbers.tolist())
    words = [word.casefold() for word in chosen.words]
    return tuple(
        row
        for row in rows
        if all(word in f"{row.note} {row.observed} {row.case}".casefold() for word in words)
        if row.photo_before or row.photo_after or not chosen.has_photos
    )


def _row(columns: Columns, number: int, text: list[str]) -> HistoryRow:
    held = dict(zip(TEXT_FIELDS, text, strict=True))
    attempt, _ = held.pop("id"), held.pop("knowledge")
    words = ("case", "taxon", "finding", "zone", "deposit", "method", "agent")
    return HistoryRow(
        attempt=attempt,
        outcome=OUTCOMES[int(columns.outcome[number])],
        amount_ml=_number(columns.amount_ml[number]),
        minutes=_number(columns.minutes[number]),
        **{word: str(getattr(columns, word)[number]) for word in words},
        **held,
    )


def _number(held: float) -> float | None:
    return None if np.isnan(held) else float(held)


def history_csv(rows: tuple[HistoryRow, ...]) -> str:
    """Return the rows as CSV with a head line; every line ends with CR LF.

    Notes
    -----
    A text that a spreadsheet would run as a formula gets an apostrophe before it. JSON keeps
    texts as they are.

    Source
    ------
    RFC 4180 for commas, quotes and line ends.
    """
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    names = [field.name for field in fields(HistoryRow)]
    writer.writerow(names)
    for row in rows:
        writer.writerow([_cell(getattr(row, name)) for name in names])
    return stream.getvalue()


def _cell(held: Any) -> Any:
    if held is None:
        return ""
    if isinstance(held, str) and (
        held.startswith(_DROPPED) or held.strip().strip("'\u200b").startswith(_FORMULA)
    ):
        return f"'{held}"
    return held


@dataclass(frozen=True, slots=True)
class PhotoPair:
    """Photos of one finding: before its first and after its last attempt that has one."""

    case: str
    finding: str
    before: str
    after: str


def photo_pairs(rows: tuple[HistoryRow, ...]) -> tuple[PhotoPair, ...]:
    """Return the first photo before and the last photo after, for each finding that has either."""
    found: dict[tuple[str, str], tuple[str, str]] = {}
    for row in sorted(rows, key=lambda r: (datetime.fromisoformat(r.at), r.attempt)):
        key = (row.case, row.finding)
        before, after = found.get(key, ("", ""))
        found[key] = (before or row.photo_before, row.photo_after or after)
    return tuple(PhotoPair(*key, *pair) for key, pair in sorted(found.items()) if any(pair))


DAYS = ("since", "until")
PHOTOS = "photos"
#: what may stand before a sign of equality
NAMES = tuple(f.name for f in fields(Filter) if f.name not in ("words", "has_photos"))
EXAMPLE = "method=puff-air outcome=cleared since=2026-01-31 photos, or any words"


def filter_from_line(line: str) -> Filter:
    """Return the filter that a line asks for.

    ``name=value`` asks for that value, ``photos`` for attempts with photos; every other word must
    stand in the note, the observation or the case id.

    Raises
    ------
    TriageError: a name that is none, one given twice, or a day that is none.
    """
    found: dict[str, Any] = {}
    words = []
    for part in line.split():
        name, sign, value = part.partition("=")
        if not sign:
            words.append(part)
            continue
        if name not in NAMES:
            raise TriageError(f'nothing to filter by "{name}"', mend=did_you_mean(name, NAMES))
        if not value or name in found:
            fault = "is given twice" if name in found else "is given without a value"
            raise TriageError(f'"{name}" {fault}', mend=f"write one, such as: {EXAMPLE}")
        found[name] = _day(value) if name in DAYS else value
    kept = tuple(word for word in words if word != PHOTOS)
    return Filter(**found, words=kept, has_photos=PHOTOS in words)


def _day(word: str) -> date:
    try:
        return date.fromisoformat(word)
    except ValueError:
        raise TriageError(f'"{word}" is not a day', mend="write it as 2026-01-31") from None


#: key of a bottle in the bench file that says on which day its level was read
COUNTED = "counted"


@dataclass(frozen=True, slots=True)
class MonthLine:
    """What evaporated of one agent in one month."""

    month: str
    agent: str
    attempts: int
    used_ml: float
    evaporated_g: float


@dataclass(frozen=True, slots=True)
class StockLine:
    """One bottle: what it held, what was taken out since, what is left [mL]; None is not known."""

    agent: str
    label: str
    held_ml: float | None
    used_ml: float | None
    left_ml: float | None
    because: str


def _done(columns: Columns) -> Any:
    return (columns.outcome != OUTCOMES.index("not-done")) & (columns.agent != "")


def evaporated(knowledge: Knowledge, columns: Columns) -> tuple[MonthLine, ...]:
    """Return what evaporated of each agent in each month, newest month first.

    Notes
    -----
    Everything put down in the open counts as evaporated, as in the day's ledger: amount x density
    x strength x open share. Agents without vapour, and those the knowledge does not have, give
    no mass; their amounts are still counted.
    """
    some = columns.taken(_done(columns))

    @cache
    def mg(method: str, agent: str) -> float:
        if agent not in knowledge.agents:
            return 0.0
        if substance_of(knowledge, knowledge.agents[agent]).airborne == "none":
            return 0.0
        return mg_per_ml(knowledge, knowledge.methods.get(method), agent)

    months = local_days(some).astype("datetime64[M]").astype(str).tolist()
    amounts = np.nan_to_num(some.amount_ml).tolist()
    attempts: dict[tuple[str, str], list[tuple[float, float]]] = {}
    rows = zip(months, some.agent.tolist(), some.method.tolist(), amounts, strict=True)
    for month, agent, method, ml in rows:
        attempts.setdefault((month, agent), []).append((ml, ml * mg(method, agent) / 1000.0))
    lines = [
        MonthLine(*key, len(held), sum(ml for ml, _ in held), sum(g for _, g in held))
        for key, held in attempts.items()
    ]
    return tuple(sorted(sorted(lines, key=lambda e: e.agent), key=lambda e: e.month, reverse=True))


def stock_left(knowledge: Knowledge, bench: Bench, columns: Columns) -> tuple[StockLine, ...]:
    """Return what is left in each bottle of the bench.

    Notes
    -----
    A working liquid weaker than the bottle takes strength over strength of it, by volume; what
    was made up and thrown away is not on record, so the figure is the least that was used. The
    level of a bottle counts from the day in its key ``counted``; without one, from the first
    record on.
    """
    return tuple(_stock_line(knowledge, stock, columns) for stock in bench.stock)


def _stock_line(knowledge: Knowledge, stock: Stock, columns: Columns) -> StockLine:
    since = _counted(stock)
    own = _done(columns) & (columns.agent == stock.agent)
    if since is not None:
        own &= local_days(columns) >= np.datetime64(since)
    some = columns.taken(own)
    shares = [_stock_share(knowledge.methods.get(m), stock) for m in some.method.tolist()]
    from_when = f"since {since.isoformat()}" if since else "since the first record"
    if None in shares:
        because = "the strength of the bottle is not known; write it into the bench file"
        return StockLine(stock.agent, stock.label, stock.ml, None, None, because)
    amounts = np.nan_to_num(some.amount_ml).tolist()
    used = sum((ml * (share or 0.0) for ml, share in zip(amounts, shares, strict=True)), 0.0)
    left = None if stock.ml is None else max(0.0, stock.ml - used)
    because = f"least amount used {from_when}"
    if stock.ml is None:
        because += "; what the bottle held is not in the bench file"
    return StockLine(stock.agent, stock.label, stock.ml, used, left, because)


def _stock_share(method: Method | None, stock: Stock) -> float | None:
    """Return mL of stock in 1 mL of a method's liquid, None where it cannot be known."""
    if method is None or method.strength is None or not method.strength.unit.startswith("%"):
        return 1.0
    if stock.strength is None:
        return None
    return min(1.0, method.strength.value / stock.strength)


def _counted(stock: Stock) -> date | None:
    held = (stock.model_extra or {}).get(COUNTED)
    if isinstance(held, datetime):
        return held.date()
    if isinstance(held, date):
        return held
    try:
        return date.fromisoformat(str(held))
    except ValueError:
        return None
