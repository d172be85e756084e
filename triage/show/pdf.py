"""A bench sheet as PDF, through the optional library reportlab (extra ``pdf``).

reportlab lays out flowing pages with parts kept together, embeds its fonts, writes the same bytes
for the same sheet, has been kept up for twenty years and is under a permissive licence.
"""

from __future__ import annotations

from collections.abc import Iterator
from importlib import import_module
from io import BytesIO
from typing import Any
from xml.sax.saxutils import escape

from triage.errors import TriageError
from triage.show.blocks import Alert, Block, Heading, Line, Listing, Paper, Table

INSTALL = "install it with: pip install 'triage[pdf]', or use --format html and print that"
FINDING_WIDTHS_MM = (15, 40, 60, 28, 36)


def _library() -> Any:
    """Return the parts of the library that are used.

    Raises
    ------
    TriageError: it is not installed; the mend says how to get it.
    """
    try:
        return import_module("triage.show.pdflib")
    except ModuleNotFoundError as fault:
        if not (fault.name or "").startswith("reportlab"):
            raise
        raise TriageError(
            "a PDF needs the library reportlab, which is not installed", mend=INSTALL
        ) from None


def pdf_of(paper: Paper) -> bytes:
    """Return a paper as a PDF file, the same bytes for the same paper.

    Raises
    ------
    TriageError: the optional library is missing.
    """
    lib = _library()
    stream = BytesIO()
    lib.build(stream, paper.title, list(_flow(lib, paper)), paper.closing)
    return stream.getvalue()


def _flow(lib: Any, paper: Paper) -> Iterator[Any]:
    yield lib.text(escape(paper.title), "title")
    head: list[Any] = []
    for block in paper.blocks:
        parts = list(_block(lib, block))
        if isinstance(block, Heading):
            head = parts
            continue
        # A head never stands alone at the foot of a page; frames and lines to write on stay
        # whole, long lists may run over the page.
        is_whole = isinstance(block, Listing) and block.kind in ("stop", "hold", "write")
        yield from [lib.together([*head, *parts])] if head or is_whole else parts
        head = []


def _block(lib: Any, block: Block) -> Iterator[Any]:
    if isinstance(block, Heading):
        yield from (lib.space(4), lib.rule())
        yield lib.text(escape(f"{block.mark}: {block.text}"), "head")
        yield lib.text(escape(block.where), "small")
    elif isinstance(block, Line):
        told = escape(block.text)
        yield lib.text(f"<b>{told}</b>" if block.is_bold else told, "body")
    elif isinstance(block, Alert):
        yield lib.framed([lib.text(f"<b>{escape(block.text)}</b>", "body")], 1.0)
    elif isinstance(block, Table):
        head = [lib.text(f"<b>{escape(name)}</b>", "small") for name in block.head]
        rows = [[lib.text(escape(cell), "small") for cell in row] for row in block.rows]
        yield lib.grid([head, *rows], FINDING_WIDTHS_MM)
    else:
        yield from _listed(lib, block)


def _listed(lib: Any, block: Listing) -> Iterator[Any]:
    label = [lib.text(escape(block.label.upper()), "label")] if block.label else []
    if block.kind == "stop":
        lines = [lib.marked(None, escape(line)) for line in block.lines]
        yield lib.framed([*label, *lines], 1.6)
    elif block.kind == "hold":
        lines = [lib.text(f"<b>{escape(line)}</b>", "body") for line in block.lines]
        room = lib.fields((("what was observed", lib.WIDTH_MM - 4),))
        yield lib.framed([*label, *lines, room], 2.4)
    else:
        yield from label
        if block.kind == "choose":
            yield lib.outcomes(block.lines)
        elif block.kind == "write":
            yield lib.fields(tuple((line, 42) for line in block.lines if line != "note"))
            if "note" in block.lines:
                yield lib.fields((("note", lib.WIDTH_MM),))
        elif block.kind == "tick":
            yield from (lib.tick(escape(line)) for line in block.lines)
        elif block.kind == "caution":
            yield from (lib.marked("!", escape(line)) for line in block.lines)
        else:
            yield from (lib.text(escape(line), "body") for line in block.lines)
