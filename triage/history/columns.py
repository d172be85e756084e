"""Attempts of many cases as numpy columns, so that a hundred thousand are counted at once."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from triage.case.fields import thawed
from triage.case.models import OUTCOMES, Attempt, Case
from triage.plan.outcomes import INSERT

Ints = np.ndarray[Any, np.dtype[np.int64]]
Reals = np.ndarray[Any, np.dtype[np.float64]]
Words = np.ndarray[Any, np.dtype[np.str_]]
Flags = np.ndarray[Any, np.dtype[np.bool_]]

OUTCOME_CODES = {outcome: code for code, outcome in enumerate(OUTCOMES)}
TEXT_FIELDS = (
    "id", "at", "step", "note", "photo_before", "photo_after", "observed", "knowledge", "measured",
)  # fmt: skip


@dataclass(frozen=True)
class Columns:
    """The attempts that count, one row each, in the order of their cases and of the work.

    Words are kept as they stand in the files, "" for none; they need not be known today.

    Parameters
    ----------
    file      name of the file each row comes from, shape (n,)
    case, taxon, method, deposit, zone, agent, finding words, shape (n,)
    invented  the case is a demo case, shape (n,)
    inserted  a step that stood before another, such as a test spot, shape (n,)
    outcome   code of ``OUTCOME_CODES``, shape (n,)
    at_s      moment [s since 1970, UTC], shape (n,)
    offset_s  its local time less UTC [s], shape (n,)
    amount_ml amount put down [mL], nan if not recorded, shape (n,)
    minutes   time taken [min], nan if not recorded, shape (n,)
    """

    file: Words
    case: Words
    taxon: Words
    method: Words
    deposit: Words
    zone: Words
    agent: Words
    finding: Words
    invented: Flags
    inserted: Flags
    outcome: Ints
    at_s: Reals
    offset_s: Ints
    amount_ml: Reals
    minutes: Reals

    @property
    def size(self) -> int:
        """Number of attempts."""
        return int(self.outcome.size)

    def taken(self, rows: Any) -> Columns:
        """Return some rows, chosen by a mask or by their numbers."""
        return Columns(**{f.name: getattr(self, f.name)[rows] for f in fields(self)})


#: how a column is kept, and what stands for nothing in it
_KINDS: dict[Any, tuple[Any, Any]] = {
    "Words": (np.str_, ""),
    "Flags": (np.bool_, False),
    "Ints": (np.int64, 0),
    "Reals": (np.float64, np.nan),
}


def rows_of(case: Case, file: str = "") -> list[dict[str, Any]]:
    """Return the attempts of a case that count, as plain rows with a ``text`` entry each."""
    return [_row(case, attempt, file) for attempt in case.effective_attempts()]


def _row(case: Case, attempt: Attempt, file: str) -> dict[str, Any]:
    offset = attempt.at.utcoffset()
    return {
        "file": file,
        "case": case.id,
        "taxon": case.taxon,
        "method": attempt.method or "",
        "deposit": attempt.deposit or "",
        "zone": attempt.zone or "",
        "agent": attempt.agent or "",
        "finding": attempt.finding or "",
        "invented": case.invented,
        "inserted": INSERT in attempt.step,
        "outcome": OUTCOME_CODES[attempt.outcome],
        "at_s": attempt.at.timestamp(),
        "offset_s": int(offset.total_seconds()) if offset else 0,
        "amount_ml": np.nan if attempt.amount_ml is None else attempt.amount_ml,
        "minutes": np.nan if attempt.minutes is None else attempt.minutes,
        "text": _text(attempt),
    }


def _text(attempt: Attempt) -> list[str]:
    held = {name: getattr(attempt, name) for name in TEXT_FIELDS}
    held["at"] = attempt.at.isoformat()
    kept = thawed(attempt.measured)
    held["measured"] = json.dumps(kept, ensure_ascii=False, default=str) if kept else ""
    return ["" if held[name] is None else str(held[name]) for name in TEXT_FIELDS]


def columns_from(rows: Iterable[dict[str, Any]]) -> Columns:
    """Return plain rows as columns; keys a row lacks are empty."""
    rows, made = list(rows), {}
    for field in fields(Columns):
        kind, nothing = _KINDS[field.type]
        made[field.name] = np.array([row.get(field.name, nothing) for row in rows], dtype=kind)
    return Columns(**made)


def joined(one: Columns, other: Columns) -> Columns:
    """Return the rows of two records, one behind the other."""
    pairs = ((f.name, getattr(one, f.name), getattr(other, f.name)) for f in fields(Columns))
    return Columns(**{name: np.concatenate([mine, theirs]) for name, mine, theirs in pairs})


def same_columns(one: Columns, other: Columns) -> bool:
    """Return whether two records hold the same attempts in the same order."""
    return all(
        np.array_equal(a, b, equal_nan=a.dtype.kind == "f")
        for field in fields(Columns)
        for a, b in [(getattr(one, field.name), getattr(other, field.name))]
    )
