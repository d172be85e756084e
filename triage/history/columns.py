"""Attempts of many cases as numpy columns, so that a hundred thousand are counted at once."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass, fields
from typing import Any

import numpy as np

from triage.case.frozen import thawed
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
    case, taxon, method, deposit, zone, agent, finding words, shape (n,)
    invented  the case is a demo case, shape (n,)
    inserted  a step that stood before another, such as a test spot, shape (n,)
    outcome   code of ``OUTCOME_CODES``, shape (n,)
    at_s      moment [s since 1970, UTC], shape (n,)
    offset_s  its local time less UTC [s], shape (n,)
    amount_ml amount put down [mL], nan if not recorded, shape (n,)
    minutes   time taken [min], nan if not recorded, shape (n,)
    """

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


_TYPES: dict[str, Any] = {
    "invented": np.bool_,
    "inserted": np.bool_,
    "outcome": np.int64,
    "offset_s": np.int64,
    "at_s": np.float64,
    "amount_ml": np.float64,
    "minutes": np.float64,
}


def rows_of(case: Case) -> list[dict[str, Any]]:
    """Return the attempts of a case that count, as plain rows with a ``text`` entry each."""
    return [_row(case, attempt) for attempt in case.effective_attempts()]


def _row(case: Case, attempt: Attempt) -> dict[str, Any]:
    offset = attempt.at.utcoffset()
    return {
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
    rows = list(rows)
    made: dict[str, Any] = {}
    for field in fields(Columns):
        kind = _TYPES.get(field.name)
        empty: Any = "" if kind is None else (np.nan if kind is np.float64 else 0)
        held = [row.get(field.name, empty) for row in rows]
        made[field.name] = (
            np.array(held, dtype=kind)
            if kind is not None
            else np.array(held, dtype=np.str_)
            if held
            else np.empty(0, "<U1")
        )
    return Columns(**made)


def same_columns(one: Columns, other: Columns) -> bool:
    """Return whether two records hold the same attempts in the same order."""
    return all(
        np.array_equal(a, b, equal_nan=a.dtype.kind == "f")
        for field in fields(Columns)
        for a, b in [(getattr(one, field.name), getattr(other, field.name))]
    )
