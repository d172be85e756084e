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
from triage.sheet.parts import FINDING_HEAD, OUTCOMES, Block, Sheet, SheetStep

INSTALL = "install it with: pip install 'triage[pdf]', or use --format html and print that"
FINDING_WIDTHS_MM = (15, 40, 60, 28, 36)


def _library() -> Any:
    """Return the parts of the library that are used.

    Raises
    ------
    TriageError: it is not installed; the mend says how to get it.
    """
    try:
        return import_module("triage.sheet.pdflib")
    except ModuleNotFoundError as fault:
        if not (fault.name or "").startswith("reportlab"):
            raise
        raise TriageError(
            "a PDF needs the library reportlab, which is not installed", mend=INSTALL
        ) from None


def pdf_of(sheet: Sheet) -> bytes:
    """Return the sheet as a PDF file, the same bytes for the same sheet.

    Raises
    ------
    TriageError: the optional library is missing.
    """
    lib = _library()
    stream = BytesIO()
    lib.build(stream, sheet.title, list(_flow(lib, sheet)), sheet.closing)
    return stream.getvalue()


def _flow(lib: Any, sheet: Sheet) -> Iterator[Any]:
    yield lib.text(escape(sheet.title), "title")
    facts = "   ".join(f"<b>{name}</b> {escape(text)}" for name, text in sheet.facts)
    yield lib.text(facts, "small")
    yield lib.fields((("date", 60), ("hand", 90)))
    for warning in sheet.warnings:
        yield lib.framed([lib.text(f"<b>{escape(warning)}</b>", "body")], 1.0)
    if sheet.findings:
        yield lib.grid(
            [[lib.text(f"<b>{name}</b>", "small") for name in FINDING_HEAD]]
            + [[lib.text(escape(cell), "small") for cell in row] for row in sheet.findings],
            FINDING_WIDTHS_MM,
        )
    for step in sheet.steps:
        yield from _step(lib, step)
    if not sheet.steps:
        yield lib.text("No step to do now.", "body")
    if sheet.later:
        yield lib.together(
            [lib.text("Only if one before fails", "label")]
            + [lib.text(escape(name), "body") for name in sheet.later]
        )
    yield lib.space(4)
    yield lib.text(f"<b>{escape(sheet.closing)}</b>", "body")
    if sheet.sources:
        yield lib.text(f"Sources: {escape(', '.join(sheet.sources))}", "small")


def _step(lib: Any, step: SheetStep) -> Iterator[Any]:
    yield lib.space(4)
    head = [
        lib.rule(),
        lib.text(f"{step.number}. {step.status}: {escape(step.name)}", "head"),
        lib.text(f"{escape(step.where)}   [{escape(step.id)}]", "small"),
    ]
    first, *rest = step.blocks
    # The head never stands alone at the foot of a page.
    yield lib.together([*head, *_block(lib, first)])
    for block in rest:
        parts = list(_block(lib, block))
        # Frames and lines to write on stay whole; long lists may run over the page.
        if block.kind in ("stop", "hold", "write"):
            parts = [lib.together(parts)]
        yield from parts


def _block(lib: Any, block: Block) -> Iterator[Any]:
    label = lib.text(escape(block.label.upper()), "label")
    if block.kind == "tick":
        yield label
        yield from (lib.tick(escape(line)) for line in block.lines)
    elif block.kind == "stop":
        lines = [lib.marked(None, escape(line)) for line in block.lines]
        yield lib.framed([label, *lines], 1.6)
    elif block.kind == "hold":
        lines = [lib.text(f"<b>{escape(line)}</b>", "body") for line in block.lines]
        yield lib.framed(
            [label, *lines, lib.fields((("what was observed", lib.WIDTH_MM - 4),))], 2.4
        )
    elif block.kind == "caution":
        yield label
        yield from (lib.marked("!", escape(line)) for line in block.lines)
    elif block.kind == "write":
        yield label
        yield lib.outcomes(OUTCOMES)
        narrow = tuple((line, 42) for line in block.lines if line != "note")
        yield lib.fields(narrow)
        yield lib.fields((("note", lib.WIDTH_MM),))
    else:
        yield label
        yield from (lib.text(escape(line), "body") for line in block.lines)
