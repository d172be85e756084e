"""The few shapes that everything shown is made of; none of them knows how it is drawn."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Kind = Literal["list", "tick", "choose", "stop", "hold", "caution", "write", "drawn"]


@dataclass(frozen=True, slots=True)
class Heading:
    """What the blocks behind it are about: a word before it, its text, and the line below it."""

    text: str
    mark: str = ""
    where: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line: how far in, what sign stands before it, what it says."""

    text: str
    sign: str = ""
    depth: int = 0
    is_bold: bool = False


@dataclass(frozen=True, slots=True)
class Alert:
    """What must not be overlooked."""

    text: str


@dataclass(frozen=True, slots=True)
class Listing:
    """Lines under a label.

    ``kind``: plain lines, boxes to tick, one of several to choose, stop points, a hold point (with
    room to write what was observed), cautions, fields to fill in by hand, lines already drawn.
    """

    label: str
    lines: tuple[str, ...]
    kind: Kind = "list"


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under names of columns."""

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture as the bytes of a PNG file, and what it shows in words."""

    text: str
    png: bytes


Block = Heading | Line | Alert | Listing | Table | Picture


@dataclass(frozen=True, slots=True)
class Paper:
    """Blocks with a title, to be printed; ``closing`` stands at the foot of every page."""

    title: str
    blocks: tuple[Block, ...]
    closing: str


def listing(label: str, *lines: str, kind: Kind = "list") -> tuple[Listing, ...]:
    """Return lines under a label, nothing where none of them says anything."""
    told = tuple(line for line in lines if line)
    return (Listing(label, told, kind),) if told else ()
