"""A bench sheet as PDF, through the optional library reportlab (extra ``pdf``).

reportlab lays out flowing pages with parts kept together, embeds its fonts, writes the same bytes
for the same sheet, has been kept up for twenty years and is under a permissive licence.
"""

from __future__ import annotations

from io import BytesIO

from triage.errors import TriageError
from triage.show.blocks import Paper

INSTALL = "install it with: pip install 'triage[pdf]', or use --format html and print that"


def pdf_of(paper: Paper) -> bytes:
    """Return a paper as a PDF file, the same bytes for the same paper.

    Raises
    ------
    TriageError: the optional library is missing; the mend says how to get it.
    """
    try:
        from triage.show.pdflib import build, flow  # noqa: PLC0415  (an extra)
    except ModuleNotFoundError as fault:
        if not (fault.name or "").startswith("reportlab"):
            raise
        raise TriageError(
            "a PDF needs the library reportlab, which is not installed", mend=INSTALL
        ) from None
    stream = BytesIO()
    build(stream, paper.title, list(flow(paper)), paper.closing)
    return stream.getvalue()
