"""A bench sheet as PDF, through the optional library reportlab (extra ``pdf``).

reportlab lays out flowing pages with parts kept together, embeds its fonts, writes the same bytes
for the same sheet, has been kept up for twenty years and is under a permissive licence.
"""

from __future__ import annotations

from importlib import import_module
from io import BytesIO
from typing import Any

from triage.errors import TriageError
from triage.show.blocks import Paper

INSTALL = "install it with: pip install 'triage[pdf]', or use --format html and print that"


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
    lib.build(stream, paper.title, list(lib.flow(paper)), paper.closing)
    return stream.getvalue()
