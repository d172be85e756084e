"""Blocks as plain lines: for a terminal, a log, a screen reader. No box characters, no colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator
from contextvars import ContextVar

from triage.show.blocks import Alert, Block, Heading, Line, Listing, Picture

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
            yield from wrapped(block.text, sign, " " * len(sign), width) or [""]
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
