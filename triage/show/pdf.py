"""A bench sheet as PDF, through the optional library reportlab (extra ``pdf``).

Imported only when a PDF is asked for: without the library it says how to get it. reportlab lays out
flowing pages with parts kept together, embeds its fonts (but for that of the boxes, which every
reader has), writes the same bytes for the same sheet, has been kept up for twenty years and is
under a permissive licence.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from io import BytesIO
from pathlib import Path
from typing import Any, BinaryIO
from xml.sax.saxutils import escape

from triage.errors import TriageError
from triage.show.blocks import Alert, Block, Heading, Line, Listing, Paper, Picture, Table

try:
    import reportlab
except ModuleNotFoundError:
    raise TriageError(
        "a PDF needs the library reportlab, which is not installed",
        mend="install it with: pip install 'triage[pdf]', or use --format html and print that",
    ) from None
from reportlab.lib.colors import HexColor, black
from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont
from reportlab.platypus import (
    HRFlowable,
    Image,
    KeepTogether,
    Paragraph,
    SimpleDocTemplate,
    Spacer,
)
from reportlab.platypus import Table as Grid

FONTS = Path(reportlab.__file__).parent / "fonts"
BODY, BOLD = "Vera", "VeraBd"
MISSING = "?"
GREY = HexColor("#777777")
WIDTH_MM = 179.0
TALLEST_MM = 200.0
FINDING_MM = (15, 40, 60, 28, 36)
Pads = tuple[float, float, float, float]

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
    "listed": ParagraphStyle(
        "listed", fontName=BODY, fontSize=9, leading=12.2, spaceAfter=2.4, leftIndent=6 * mm
    ),
}
# What stands before the lines of a kind: a box to tick, a filled mark, a sign.
SIGNS = "ZapfDingbats"
BEFORE = {"tick": (SIGNS, 12, "&#10063;"), "stop": (SIGNS, 9, "&#9632;"), "caution": (BOLD, 9, "!")}
TO_CHOOSE = f'<font name="{SIGNS}" size="12">&#10063;</font>\u00a0'


def shown(text: str) -> str:
    """Return a text with every sign that the embedded font lacks replaced by a question mark."""
    known = pdfmetrics.getFont(BODY).face.charToGlyph
    return "".join(sign if ord(sign) in known else MISSING for sign in text)


def text(content: str, style: str) -> Any:
    """Return a paragraph; ``content`` is escaped text with ``<b>`` at most."""
    return Paragraph(shown(content), STYLES[style])


def _rows(
    rows: list[list[Any]], widths_mm: Sequence[float], *style: Any, pad: Pads, **how: Any
) -> Any:
    """Return a table; ``pad`` is left, right, above and below its cells."""
    sides = ("LEFTPADDING", "RIGHTPADDING", "TOPPADDING", "BOTTOMPADDING")
    base = [(side, (0, 0), (-1, -1), width) for side, width in zip(sides, pad, strict=True)]
    top = ("VALIGN", (0, 0), (-1, -1), "TOP")
    widths = [width * mm for width in widths_mm]
    return Grid(rows, colWidths=widths, style=[top, *base, *style], hAlign="LEFT", **how)


def _framed(parts: Sequence[Any], thickness: float) -> Any:
    frame = ("BOX", (0, 0), (-1, -1), thickness, black)
    rows = [[part] for part in parts]
    return _rows(rows, [WIDTH_MM], frame, pad=(5, 5, 1.2, 1.2), spaceBefore=4, spaceAfter=3)


def _fields(names: Sequence[str], width_mm: float) -> Any:
    """Return names each above a line to write on."""
    cells = [cell for name in names for cell in (text(escape(name), "small"), "")]
    lines = [
        ("LINEBELOW", (2 * place, 0), (2 * place, 0), 0.6, black) for place in range(len(names))
    ]
    widths = [width_mm - 4, 4] * len(names)
    room = {"rowHeights": [8 * mm], "spaceBefore": 2, "spaceAfter": 3}
    return _rows([cells], widths, *lines, pad=(0, 0, 1, 1), **room)


def _table(block: Table) -> Any:
    """Return a ruled table; its head is repeated on each page."""
    head = [text(f"<b>{escape(name)}</b>", "small") for name in block.head]
    rows = [[text(escape(cell), "small") for cell in row] for row in block.rows]
    ruled = (
        ("GRID", (0, 0), (-1, -1), 0.4, GREY),
        ("BACKGROUND", (0, 0), (-1, 0), HexColor("#eeeeee")),
    )
    return _rows([head, *rows], FINDING_MM, *ruled, pad=(5, 5, 2, 2), repeatRows=1, spaceBefore=6)


def pdf_of(paper: Paper) -> bytes:
    """Return a paper as a PDF file, the same bytes for the same paper."""
    stream = BytesIO()
    build(stream, paper.title, list(flow(paper)), paper.closing)
    return stream.getvalue()


def flow(paper: Paper) -> Iterator[Any]:
    """Yield a paper as parts that flow over the pages."""
    yield text(escape(paper.title), "title")
    head: list[Any] = []
    for block in paper.blocks:
        parts = list(_block(block))
        if isinstance(block, Heading):
            head = parts
            continue
        # A head never stands alone at the foot of a page; frames and lines to write on stay
        # whole, long lists may run over the page.
        is_whole = isinstance(block, Listing) and block.kind in ("stop", "hold", "write")
        yield from [KeepTogether([*head, *parts])] if head or is_whole else parts
        head = []


def _block(block: Block) -> Iterator[Any]:
    if isinstance(block, Heading):
        yield Spacer(1, 4 * mm)
        yield HRFlowable(width="100%", thickness=1.6, color=black, spaceBefore=2, spaceAfter=2)
        yield text(escape(f"{block.mark}: {block.text}"), "head")
        yield text(escape(block.where), "small")
    elif isinstance(block, Line):
        told = escape(block.text)
        yield text(f"<b>{told}</b>" if block.is_bold else told, "body")
    elif isinstance(block, Alert):
        yield _framed([text(f"<b>{escape(block.text)}</b>", "body")], 1.0)
    elif isinstance(block, Table):
        yield _table(block)
    elif isinstance(block, Picture):
        image = Image(BytesIO(block.png))
        scale = min(WIDTH_MM * mm / image.drawWidth, TALLEST_MM * mm / image.drawHeight)
        image.drawWidth, image.drawHeight = scale * image.drawWidth, scale * image.drawHeight
        yield KeepTogether([image, text(escape(block.text), "small")])
    else:
        label = [text(escape(block.label.upper()), "label")] if block.label else []
        lines = list(_listed(block))
        frame = {"stop": 1.6, "hold": 2.4}.get(block.kind)
        yield from [_framed([*label, *lines], frame)] if frame else [*label, *lines]


def _listed(block: Listing) -> Iterator[Any]:
    if block.kind == "write":
        yield _fields([line for line in block.lines if line != "note"], 42)
        yield from [_fields(["note"], WIDTH_MM)] if "note" in block.lines else []
    elif block.kind == "choose":
        yield text(
            (6 * " \u00a0").join(f"{TO_CHOOSE}{escape(line)}" for line in block.lines), "body"
        )
    elif block.kind in BEFORE:
        font, size, sign = BEFORE[block.kind]
        mark = f'<bullet font="{font}" size="{size}">{sign}</bullet>'
        yield from (text(f"{mark}{escape(line)}", "listed") for line in block.lines)
    else:
        bold = ("<b>", "</b>") if block.kind == "hold" else ("", "")
        yield from (text(f"{bold[0]}{escape(line)}{bold[1]}", "body") for line in block.lines)
        if block.kind == "hold":
            yield _fields(["what was observed"], WIDTH_MM - 4)


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
