"""Amount, minutes, note and photos of a pass; all optional."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import asdict, dataclass
from pathlib import Path

from triage.errors import TriageError
from triage.tui.screens.form import Field, Filled, FormScreen, Refused


@dataclass(frozen=True)
class Particulars:
    """What is recorded with an outcome besides the outcome."""

    amount_ml: float | None = None
    minutes: float | None = None
    note: str = ""
    photo_before: str = ""
    photo_after: str = ""


NUMBERS = {"amount_ml": "Amount used, mL", "minutes": "Minutes (empty: measured)"}
PHOTOS = {"photo_before": "Photo before, path", "photo_after": "Photo after, path"}
LABELS = {**NUMBERS, "note": "Note", **PHOTOS}


def particulars_of(filled: Filled) -> Particulars:
    """Return what was written; ``Refused`` for a number that is none."""
    amount_ml, minutes = (_number(name, filled[name]) for name in NUMBERS)
    return Particulars(amount_ml, minutes, *(filled[name] for name in ("note", *PHOTOS)))


def _number(name: str, text: str) -> float | None:
    if not text:
        return None
    try:
        found = float(text.replace(",", "."))
    except ValueError:
        raise Refused(name, f'{LABELS[name]}: "{text}" is no number; write digits') from None
    if not 0 <= found < math.inf:
        raise Refused(name, f'{LABELS[name]}: "{text}" cannot be; write what was used')
    return found


def particulars_form(
    held: Particulars,
    check_photo: Callable[[str], object],
    doubt: Callable[[float | None], str],
    newest: Mapping[str, str],
    key: str,
) -> FormScreen:
    """Return the form of a pass: the numbers must be numbers, the photos must be there.

    ``newest`` may be taken by the key ``key``. ``doubt`` asks about an amount that looks like a
    slip of the pen: once, Enter again takes it.
    """
    asked = ""

    def check(filled: Filled) -> None:
        nonlocal asked
        told = particulars_of(filled)
        for name in PHOTOS:
            try:
                if filled[name]:
                    check_photo(filled[name])
            except TriageError as fault:
                raise Refused(name, f"{LABELS[name]}: {fault.line()}") from None
        doubted, asked = asked, doubt(told.amount_ml)
        if asked and asked != doubted:
            raise Refused("amount_ml", f"{asked}. Enter again if it is so.")

    said = {
        name: f"{value:g}" if isinstance(value, float) else value or ""
        for name, value in asdict(held).items()
    }
    # Not the path itself: an empty line must not look as if it were filled in.
    offered = {name: f"{key} takes {Path(photo).name}" for name, photo in newest.items()}
    fields = (Field(name, text, said[name], offered.get(name, "")) for name, text in LABELS.items())
    title = "For this pass (Enter keeps all, down and up change the line)"
    return FormScreen(title, fields, check=check, newest=newest, first="note")
