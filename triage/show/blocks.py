"""The few shapes that everything shown is made of, and these as plain lines.

None of them knows how it is drawn. The lines are for a terminal, a log, a screen reader: no box
characters, no colour.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from contextvars import ContextVar
from dataclasses import dataclass, field
from typing import Any, Literal

Kind = Literal["list", "tick", "choose", "stop", "hold", "caution", "write", "drawn"]


@dataclass(frozen=True, slots=True)
class Heading:
    """What the blocks behind it are about: a word before it, its text, and the line below it."""

    text: str
    mark: str = ""
    where: str = ""


@dataclass(frozen=True, slots=True)
class Line:
    """One line: how far in, what sign stands before it, what it says.

    ``more`` stands behind it, below it where there is room; ``about`` is what it tells of.
    """

    text: str
    sign: str = ""
    depth: int = 0
    is_bold: bool = False
    more: tuple[str, ...] = ()
    about: Any = field(default=None, compare=False)


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


WIDTH = 92
# Columns of the face that is printed for, where it is no terminal of its own.
WIDE: ContextVar[int] = ContextVar("wide", default=WIDTH)


def wrapped(text: str, first: str = "", rest: str = "", width: int = WIDTH) -> list[str]:
    """Return a text as lines; ids with hyphens stay whole, so that they can be copied."""
    return textwrap.wrap(
        text, width, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def lines_of(blocks: Iterable[Block], width: int | None = None) -> Iterator[str]:
    """Yield blocks as lines of a width, that of the face if none is given."""
    width = WIDE.get() if width is None else width
    for block in blocks:
        if isinstance(block, Heading):
            head = f"{block.mark}: {block.text}" if block.mark else block.text
            yield from wrapped(f"{head} - {block.where}" if block.where else head, "", "  ", width)
        elif isinstance(block, Line):
            indent = "  " * block.depth
            sign = f"{indent}{block.sign} " if block.sign else indent
            told = " - ".join((block.text, *block.more))
            yield from wrapped(told, sign, " " * len(sign), width) or [""]
        elif isinstance(block, Alert | Picture):
            yield from wrapped(block.text, "", "  ", width)
        elif isinstance(block, Listing):
            yield from _listed(block, width)
        else:
            table = (block.head, *block.rows)
            widths = [max(map(len, column)) for column in zip(*table, strict=True)]
            for row in table:
                cells = (cell.ljust(wide) for cell, wide in zip(row, widths, strict=True))
                yield "  ".join(cells).rstrip()


def _listed(block: Listing, width: int) -> Iterator[str]:
    if block.kind == "drawn":
        yield from (block.label, *(f"  {line}" for line in block.lines))
    elif len(block.lines) == 1:
        yield from wrapped(f"{block.label}: {block.lines[0]}", "  ", "      ", width)
    else:
        yield f"  {block.label}"
        for line in block.lines:
            yield from wrapped(line, "    - ", "      ", width)
