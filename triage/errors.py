"""Errors that tell a person what is wrong, where it stands and what to do about it."""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches

# Terminal control characters, and marks that reorder text on screen or hide in it so that it
# reads as something else than what is stored. Source: Unicode Standard Annex 9, table 4 (U+061C,
# U+200E-F, U+202A-E, U+2066-9); chapter 23 (U+206A-F, U+FFF9-B and tags are not to be used).
CONTROL = re.compile(
    "[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028-\u202e\u2066-\u206f\ufeff"
    "\ufff9-\ufffb\U000e0000-\U000e007f]"
    "|\r(?!\n)"  # alone it sends the cursor back, and what follows is written over the line
)
MOST_LETTERS = 1000


@dataclass(frozen=True, slots=True)
class Where:
    """A place in a file: path as shown to the user, line (1-based) and entry, each optional."""

    file: str = ""
    line: int | None = None
    entry: str = ""

    def __str__(self) -> str:
        """Return ``file:line entry`` with the parts that are known."""
        place = self.file if self.line is None else f"{self.file}:{self.line}"
        return " ".join(part for part in (place, self.entry) if part)


class TriageError(Exception):
    """Bad input: one line that says what is wrong, where, and what to do.

    Parameters
    ----------
    message what is wrong
    where   place in a file, if there is one
    mend    what to do about it, in the imperative
    """

    exit_code = 2

    def __init__(self, message: str, where: Where | None = None, mend: str = "") -> None:
        self.message = message
        self.where = where or Where()
        self.mend = mend
        super().__init__(self.line())

    def line(self) -> str:
        """Return the whole error on one line: place, fault, mend."""
        place = str(self.where)
        text = f"{place}: {self.message}" if place else self.message
        text = f"{text}; {self.mend}" if self.mend else text
        # What is quoted may come from a name or a path: nothing in it may steer a terminal.
        text = CONTROL.sub("?", " ".join(text.split()))
        # A value of many thousand letters would push place and mend off the screen.
        return text if len(text) <= MOST_LETTERS else f"{text[:700]} ... {text[-250:]}"


class OutOfRange(TriageError):
    """A number that is negative, not finite, or outside what a formula holds for."""


class Faults(TriageError):
    """Several faults of one run, each with its own place and mend."""

    def __init__(self, faults: Sequence[TriageError]) -> None:
        self.faults = tuple(faults)
        super().__init__(f"{len(self.faults)} faults")

    def line(self) -> str:
        """Return every fault, one a line."""
        return "\n".join(fault.line() for fault in self.faults)


def raise_faults(faults: Sequence[TriageError]) -> None:
    """Raise one fault as itself, several as ``Faults``, none not at all."""
    if len(faults) == 1:
        raise faults[0]
    if faults:
        raise Faults(faults)


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Return a mend that names the nearest known word, or lists a few of them."""
    names = sorted({str(name) for name in known})
    near = get_close_matches(str(word), names, n=1, cutoff=0.6)
    if near:
        return f'did you mean "{near[0]}"?'
    shown = ", ".join(names[:8]) + (", ..." if len(names) > 8 else "")
    return f"use one of: {shown}" if names else "nothing is defined here yet"


def control_character(text: str) -> str:
    """Return the first control or reordering character as ``U+001B``, or empty if none."""
    found = CONTROL.search(text)
    return f"U+{ord(found.group()):04X}" if found else ""
