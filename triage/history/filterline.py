"""A filter of the record written as one line: the words of ``triage history``, without dashes."""

from __future__ import annotations

from dataclasses import fields
from datetime import date
from typing import Any

from triage.errors import TriageError, did_you_mean
from triage.history.table import Filter

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
