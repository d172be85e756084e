"""The few shapes a bench sheet is made of, in reportlab; imported only when a PDF is asked for."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, BinaryIO

import reportlab
from reportlab.lib.colors import HexColor, black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    Flowable,
    HRFlowable,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
    Table,
)

FONTS = Path(reportlab.__file__).parent / "fonts"
BODY, BOLD = "Vera", "VeraBd"
MISSING = "?"
GREY = HexColor("#777777")
WIDTH_MM = 179.0
_BOX = 3.4 * mm
_MARK = 1.9 * mm

for _name in (BODY, BOLD):
    pdfmetrics.registerFont(TTFont(_name, str(FONTS / f"{_name}.ttf")))
pdfmetrics.registerFontFamily(BODY, normal=BODY, bold=BOLD, italic=BODY, boldItalic=BOLD)

STYLES = {
    "title": ParagraphStyle("title", fontName=BOLD, fontSize=15, leading=19, spaceAfter=3),
    "head": ParagraphStyle("head", fontName=BOLD, fontSize=12, leading=15, spaceBefore=3),
    "label": ParagraphStyle(
        "label",
        fontName=BOLD,
        fontSize=7.5,
        leading=10,
        spaceBefore=4,
        spaceAfter=1,
        keepWithNext=1,
    ),
    "body": ParagraphStyle("body", fontName=BODY, fontSize=9, leading=12.2, spaceAfter=1.2),
    "small": ParagraphStyle("small", fontName=BODY, fontSize=7.6, leading=10),
}


def shown(text: str) -> str:
    """Return a text with every sign that the embedded font lacks replaced by a question mark."""
    known = pdfmetrics.getFont(BODY).face.charToGlyph
    return "".join(sign if ord(sign) in known else MISSING for sign in text)


def text(content: str, style: str) -> Any:
    """Return a paragraph; ``content`` is escaped text with ``<b>`` at most."""
    return Paragraph(shown(content), STYLES[style])


def space(height_mm: float) -> Any:
    """Return an empty strip."""
    return Spacer(1, height_mm * mm)


def rule() -> Any:
    """Return a heavy line across the page."""
    return HRFlowable(width="100%", thickness=1.6, color=black, spaceBefore=2, spaceAfter=2)


def together(parts: Sequence[Any]) -> Any:
    """Return parts that stay on one page where they fit on one."""
    return KeepTogether(list(parts))


class Box(Flowable):  # type: ignore[misc]
    """An empty box to tick, or a small filled one as a mark."""

    def __init__(self, *, filled: bool = False) -> None:
        super().__init__()
        self.filled = filled
        self.width = self.height = _MARK if filled else _BOX

    def draw(self) -> None:
        """Draw the box."""
        self.canv.setLineWidth(0.9)
        self.canv.rect(0, 0, self.width, self.height, fill=int(self.filled))


def _table(rows: list[list[Any]], widths: Sequence[float], *style: Any) -> Any:
    base = [
        ("VALIGN", (0, 0), (-1, -1), "TOP"),
        ("LEFTPADDING", (0, 0), (-1, -1), 0),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2),
        ("TOPPADDING", (0, 0), (-1, -1), 1),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 1),
    ]
    return Table(rows, colWidths=list(widths), style=[*base, *style], hAlign="LEFT")


def tick(line: str) -> Any:
    """Return one line with a box before it."""
    widths = (6 * mm, (WIDTH_MM - 7) * mm)
    return _table([[Box(), text(line, "body")]], widths, ("TOPPADDING", (0, 0), (0, -1), 2.4))


def outcomes(words: Sequence[str]) -> Any:
    """Return the outcomes side by side, each with a box."""
    row: list[Any] = []
    for word in words:
        row += [Box(), text(word, "body")]
    widths = [5 * mm, 24 * mm] * len(words)
    return _table([row], widths, ("TOPPADDING", (0, 0), (-1, -1), 2.0))


def marked(sign: str | None, line: str) -> Any:
    """Return a line with a sign before it; without one, with a filled square."""
    before = Box(filled=True) if sign is None else text(f"<b>{sign}</b>", "body")
    style = [("TOPPADDING", (0, 0), (0, 0), 3.6)] if sign is None else []
    return _table([[before, text(line, "body")]], (5 * mm, (WIDTH_MM - 10) * mm), *style)


def framed(parts: Sequence[Any], thickness: float) -> Any:
    """Return parts in a frame."""
    rows = [[part] for part in parts]
    return Table(
        rows,
        hAlign="LEFT",
        colWidths=[WIDTH_MM * mm],
        style=[
            ("BOX", (0, 0), (-1, -1), thickness, black),
            ("LEFTPADDING", (0, 0), (-1, -1), 5),
            ("RIGHTPADDING", (0, 0), (-1, -1), 5),
            ("TOPPADDING", (0, 0), (-1, -1), 1.2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 1.2),
        ],
        spaceBefore=4,
        spaceAfter=3,
    )


def grid(rows: list[list[Any]], widths_mm: Sequence[float]) -> Any:
    """Return a ruled table; its head is repeated on each page."""
    return Table(
        rows,
        hAlign="LEFT",
        colWidths=[width * mm for width in widths_mm],
        repeatRows=1,
        style=[
            ("GRID", (0, 0), (-1, -1), 0.4, GREY),
            ("BACKGROUND", (0, 0), (-1, 0), HexColor("#eeeeee")),
            ("VALIGN", (0, 0), (-1, -1), "TOP"),
            ("TOPPADDING", (0, 0), (-1, -1), 2),
            ("BOTTOMPADDING", (0, 0), (-1, -1), 2),
        ],
        spaceBefore=6,
        spaceAfter=4,
    )


def fields(names: Sequence[tuple[str, float]]) -> Any:
    """Return names each above a line to write on; widths in mm."""
    cells: list[Any] = []
    widths: list[float] = []
    style: list[Any] = []
    for place, (name, width_mm) in enumerate(names):
        cells += [text(name, "small"), ""]
        widths += [(width_mm - 4) * mm, 4 * mm]
        style.append(("LINEBELOW", (2 * place, 0), (2 * place, 0), 0.6, black))
    return Table(
        [cells],
        colWidths=widths,
        rowHeights=[8 * mm],
        style=[("LEFTPADDING", (0, 0), (-1, -1), 0), ("VALIGN", (0, 0), (-1, -1), "TOP"), *style],
        hAlign="LEFT",
        spaceBefore=2,
        spaceAfter=3,
    )


def build(stream: BinaryIO, title: str, flow: list[Any], closing: str) -> None:
    """Write the document; page number and the closing sentence stand at the foot of each page."""

    def foot(canvas: Any, document: Any) -> None:
        canvas.saveState()
        canvas.setFont(BODY, 6.8)
        canvas.drawString(13 * mm, 9 * mm, shown(closing))
        canvas.drawRightString(A4[0] - 13 * mm, 9 * mm, f"page {document.page}")
        canvas.restoreState()

    document = SimpleDocTemplate(
        stream,
        pagesize=A4,
        leftMargin=13 * mm,
        rightMargin=13 * mm,
        topMargin=13 * mm,
        bottomMargin=16 * mm,
        title=title,
        author="",
        invariant=1,
    )
    document.build(flow, onFirstPage=foot, onLaterPages=foot)
