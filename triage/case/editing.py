"""Change a YAML text only where its values change, so that comments and layout stay.

The result is a proposal: the caller reads it back and compares before trusting it. A library that
keeps comments was measured (ruamel.yaml 0.19): twenty to thirty-five times as slow, and it lays a
hand-written text out anew, lines that no change touches included.
"""

from __future__ import annotations

import re
from typing import Any

from triage.yamltext import Parsed, Place, dump_yaml

_ABSENT: Any = object()
_ONE_LINE = re.compile(r"[^\"'|>#\[{]*?(?P<comment>\s+#.*)?")


class _CannotEdit(Exception):
    """The layout is not one that can be edited in place."""


def edited_yaml(text: str, parsed: Parsed, old: Any, new: Any) -> str | None:
    """Return ``text`` with the values of ``old`` changed to those of ``new``.

    Parameters
    ----------
    text   the YAML text as it stands
    parsed the same text, parsed
    old    the plain values the text stands for; defaults may be missing on either side
    new    the plain values wanted

    Returns
    -------
    The new text, or None where the layout does not allow a change in place.
    """
    if parsed.place is None or parsed.place.flow or not isinstance(old, dict):
        return None
    editor = _Editor(text)
    try:
        editor.change_mapping(parsed.place, old, new, editor.last, -1)
    except _CannotEdit:
        return None
    return editor.result()


class _Editor:
    """Collects replacements of whole lines; line numbers count from 1, ends are exclusive."""

    def __init__(self, text: str) -> None:
        self.lines = text.splitlines(keepends=True)
        self.last = len(self.lines) + 1
        self.line_end = "\r\n" if self.lines and self.lines[0].endswith("\r\n") else "\n"
        self.edits: list[tuple[int, int, list[str]]] = []

    def result(self) -> str:
        """Return the text with every replacement made, from the end backwards."""
        lines = list(self.lines)
        if lines and not lines[-1].endswith(("\n", "\r")):
            lines[-1] += self.line_end
        for start, end, replacement in sorted(self.edits, key=lambda edit: edit[:2], reverse=True):
            lines[start - 1 : end - 1] = replacement
        return "".join(lines)

    def change_mapping(
        self, place: Place, old: dict[str, Any], new: dict[str, Any], end: int, owner_column: int
    ) -> None:
        """Change the keys of a block mapping that ends before line ``end``."""
        if not place.below:
            raise _CannotEdit
        column = next(iter(place.below.values())).column
        ends = self._ends(place, end)
        for key in dict.fromkeys((*old, *new)):
            before, after = old.get(key, _ABSENT), new.get(key, _ABSENT)
            if before == after and type(before) is type(after):
                continue
            child = place.below.get(key)
            if child is None:
                if after is not _ABSENT:
                    self._insert({key: after}, column, self._close(end, owner_column))
            elif after is _ABSENT:
                self._remove(child, ends[key])
            elif not self._change_inside(child, before, after, ends[key], child.column):
                self._replace(child, {key: after}, ends[key])

    def change_list(
        self, place: Place, old: list[Any], new: list[Any], end: int, owner_column: int
    ) -> None:
        """Change or append items of a block list; items may not be taken away."""
        if len(new) < len(old) or len(place.below) != len(old) or not old:
            raise _CannotEdit
        ends = self._ends(place, end)
        for index, (before, after) in enumerate(zip(old, new, strict=False)):
            child = place.below[index]
            dash = self._dash(child)
            if before != after and not self._change_inside(child, before, after, ends[index], dash):
                raise _CannotEdit
        if new[len(old) :]:
            dash = self._dash(place.below[len(old) - 1])
            self._insert(new[len(old) :], dash, self._close(end, owner_column))

    def _change_inside(self, place: Place, before: Any, after: Any, end: int, column: int) -> bool:
        if place.flow or not place.below:
            return False
        kept = len(self.edits)
        try:
            if isinstance(before, dict) and isinstance(after, dict):
                self.change_mapping(place, before, after, end, column)
            elif isinstance(before, list) and isinstance(after, list):
                self.change_list(place, before, after, end, column)
            else:
                return False
        except _CannotEdit:
            del self.edits[kept:]
            return False
        return True

    def _ends(self, place: Place, end: int) -> dict[Any, int]:
        keys = list(place.below)
        starts = [place.below[key].line for key in keys]
        if len(set(starts)) != len(starts):
            raise _CannotEdit
        return dict(zip(keys, [*starts[1:], end], strict=True))

    def _close(self, end: int, owner_column: int) -> int:
        """Return the line behind the last one that belongs to an entry.

        Blank lines, and comments no deeper than the owner, belong to what follows.
        """
        while end > 1:
            line = self.lines[end - 2]
            bare = line.lstrip(" ")
            outside = bare.startswith("#") and len(line) - len(bare) <= max(owner_column, 0)
            if bare.strip() and not outside:
                break
            end -= 1
        return end

    def _dash(self, place: Place) -> int:
        before = self.lines[place.line - 1][: place.column]
        dash = before.rfind("-")
        if dash < 0 or before[:dash].strip(" ") or before[dash + 1 :].strip(" "):
            raise _CannotEdit
        return dash

    def _own_line(self, place: Place) -> str:
        prefix = self.lines[place.line - 1][: place.column]
        if prefix.strip(" -"):
            raise _CannotEdit
        return prefix

    def _insert(self, content: Any, column: int, line: int) -> None:
        previous = self.edits[-1] if self.edits else None
        added = self._written(content, column)
        if previous is not None and previous[:2] == (line, line):
            previous[2].extend(added)
        else:
            self.edits.append((line, line, added))

    def _remove(self, place: Place, end: int) -> None:
        if self._own_line(place).strip():
            raise _CannotEdit
        self.edits.append((place.line, self._close(end, place.column), []))

    def _replace(self, place: Place, content: dict[str, Any], end: int) -> None:
        prefix = self._own_line(place)
        end = self._close(end, place.column)
        lines = self._written(content, place.column)
        lines[0] = prefix + lines[0][place.column :]
        written = self.lines[place.line - 1].rstrip("\r\n")[place.column :]
        plain = _ONE_LINE.fullmatch(written)
        if end == place.line + 1 and len(lines) == 1 and plain and plain["comment"]:
            lines[0] = lines[0].rstrip("\r\n") + plain["comment"] + self.line_end
        self.edits.append((place.line, end, lines))

    def _written(self, content: Any, column: int) -> list[str]:
        indent = " " * column
        return [
            (indent + line if line else "") + self.line_end
            for line in dump_yaml(content).splitlines()
        ]
