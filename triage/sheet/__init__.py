"""The printable bench sheet of a plan: Markdown, HTML and PDF from one set of parts."""

from triage.sheet.parts import Sheet, sheet_of

__all__ = ["Sheet", "sheet_of"]
