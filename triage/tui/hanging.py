"""Rows of lists: a sign in front, the text behind it wrapped under itself.

Drawn without a table: a list of a hundred rows is laid out anew whenever its plan changes, and a
table for each row took most of that time.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any

from rich.cells import cell_len, chop_cells, set_cell_size
from rich.text import Text
from textual.content import Content
from textual.css.styles import RulesMap
from textual.strip import Strip
from textual.style import Style
from textual.visual import RenderOptions, Visual
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from triage.tui.keysets import bind

BOLD = "bold"
Line = tuple[str, str] | str


def wrapped(text: str, width: int) -> list[str]:
    """Return a text broken at spaces into lines of a width in cells; words stay whole if they fit.

    Only plain signs are one cell each, so other texts are measured word by word.
    """
    width = max(1, width)
    if text.isascii():
        return textwrap.wrap(text, width, break_on_hyphens=False) or [""]
    lines = [""]
    for word in text.split():
        joined = f"{lines[-1]} {word}" if lines[-1] else word
        if cell_len(joined) <= width:
            lines[-1] = joined
            continue
        pieces = chop_cells(word, width)
        lines += pieces if lines[-1] else pieces[1:]
        if not lines[-len(pieces)]:
            lines[-len(pieces)] = pieces[0]
    return lines


class Drawn(Visual):
    """Something that is one text for a given width; the text of the last width is kept."""

    _drawn: tuple[int, Content] = (-1, Content(""))

    def draw(self, width: int) -> Content:
        """Return the text for a width in cells."""
        raise NotImplementedError

    def drawn(self, width: int) -> Content:
        """Return the text for a width in cells, the kept one if the width is the same."""
        if self._drawn[0] != width:
            self._drawn = (width, self.draw(width))
        return self._drawn[1]

    def get_optimal_width(self, rules: RulesMap, container_width: int) -> int:
        """Return the whole width: a row fills its list."""
        del rules
        return container_width

    def get_height(self, rules: RulesMap, width: int) -> int:
        """Return the lines at a width."""
        del rules
        return self.drawn(width).plain.count("\n") + 1

    def render_strips(
        self, width: int, height: int | None, style: Style, options: RenderOptions
    ) -> list[Strip]:
        """Return the lines as they are drawn."""
        return self.drawn(width).render_strips(width, height, style, options)


class Hanging(Drawn):
    """A sign in front, ``width`` columns, then a gap, then texts, each wrapped in its own column.

    A text stands alone or with a style; it is never read as markup.
    """

    def __init__(self, sign: str, lines: tuple[Line, ...], width: int, gap: int = 0) -> None:
        self.sign = sign
        self.lines = tuple((line, "") if isinstance(line, str) else line for line in lines)
        self.width = width
        self.gap = gap

    @property
    def plain(self) -> str:
        """Sign and texts in plain words, unwrapped."""
        return "\n".join((self.sign, *(text for text, _ in self.lines)))

    def _signs(self) -> list[str]:
        """Return the sign in lines; the further ones of a long one stand under its first word."""
        if cell_len(self.sign) <= self.width:
            return [self.sign]
        before = " " * (len(self.sign) - len(self.sign.lstrip()))
        first, *more = wrapped(self.sign.strip(), self.width - len(before) - 2)
        return [f"{before}{first}", *(f"{before}  {part}" for part in more)]

    def draw(self, width: int) -> Content:
        """Return sign and texts side by side."""
        front = self.width + self.gap
        signs = self._signs()
        rows: list[tuple[str, str]] = [
            (part, style) for text, style in self.lines for part in wrapped(text, width - front)
        ]
        rows += [("", "")] * (len(signs) - len(rows))
        parts: list[str | tuple[str, str]] = []
        for number, (part, style) in enumerate(rows):
            before = set_cell_size(signs[number] if number < len(signs) else "", front)
            end = "\n" if number + 1 < len(rows) else ""
            parts.append((f"{before}{part}{end}", style) if style else f"{before}{part}{end}")
        return Content.assemble(*parts)


class Rows(Drawn):
    """Rows below each other, as one thing to be shown."""

    def __init__(self, rows: tuple[Hanging, ...]) -> None:
        self.rows = rows

    def draw(self, width: int) -> Content:
        """Return all rows."""
        return Content("\n").join(row.draw(width) for row in self.rows)


def beside(label: str, said: str, width: int = 32) -> Hanging:
    """Return a row of a label and what is said to it, each wrapped in its own column."""
    return Hanging(label, (said,), width, gap=1)


def hanging(sign: str, *lines: Line, width: int = 4) -> Hanging:
    """Return a row whose text never runs under its sign."""
    return Hanging(sign, lines, width)


@dataclass(frozen=True)
class Row:
    """One row of a list; a title is passed over by the cursor, one without an id has its place."""

    id: str
    prompt: Hanging | Content | Text
    is_title: bool = False
    about: Any = field(default=None, compare=False)


def title_row(text: str, row_id: str = "") -> Row:
    """Return a title among the rows."""
    return Row(row_id or f"title-{text}", Text(text, "bold underline"), is_title=True)


class Held(Option):
    """A row as the list holds it."""

    def __init__(self, row: Row) -> None:
        super().__init__(row.prompt, id=row.id or None, disabled=row.is_title)
        self.row = row


class ActionList(OptionList):
    """Rows to move through with the arrows; Enter acts on the one under the cursor."""

    BINDINGS = [
        bind("choose", "select"),
        bind("down", "cursor_down", show=False),
        bind("up", "cursor_up", show=False),
    ]

    def show(self, rows: Iterable[Row], at: str | None = None) -> None:
        """Show other rows; the cursor goes to ``at``, else it stays where it was."""
        held = [Held(row) for row in rows]
        before, was = self.highlighted_option, self.highlighted
        wanted = at or (before.id if before else None)
        here = next((n for n, each in enumerate(held) if wanted and each.id == wanted), was)
        self.set_options(held)
        if here is not None and here < len(held) and not held[here].disabled:
            self.highlighted = here
        else:
            self.action_first()

    @property
    def row(self) -> Any:
        """The row under the cursor, None if there is none."""
        return getattr(self.highlighted_option, "row", None)
