"""Rows of lists: a sign in front, the text behind it wrapped under itself."""

from __future__ import annotations

from rich.table import Table
from rich.text import Text

BOLD = "bold"


def beside(label: str, said: str, width: int = 32) -> Table:
    """Return a row of a label and what is said to it, each wrapped in its own column."""
    row = Table.grid(expand=True, padding=(0, 1))
    row.add_column(width=width)
    row.add_column(ratio=1)
    row.add_row(Text(label), Text(said))
    return row


def hanging(sign: str, *lines: tuple[str, str] | str, width: int = 4) -> Table:
    """Return a row whose text never runs under its sign.

    Parameters
    ----------
    sign  what stands in front, once
    lines texts below each other, each alone or with a style; never read as markup
    width columns of the sign
    """
    row = Table.grid(expand=True)
    row.add_column(width=width, no_wrap=True)
    row.add_column(ratio=1)
    for number, line in enumerate(lines):
        text, style = (line, "") if isinstance(line, str) else line
        row.add_row(Text(sign if number == 0 else "", style=style), Text(text, style=style))
    return row
