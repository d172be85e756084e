"""The line of a part of an entry, looked up in its file only when a fault is to be shown."""

from __future__ import annotations

from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from triage.errors import TriageError, Where
from triage.yamltext import Parsed, parse_yaml, read_text


def line_inside(root: Path, where: Where, path: tuple[str | int, ...]) -> Where:
    """Return the place of a part of an entry.

    Parameters
    ----------
    root  the rules folder
    where file and line of the entry
    path  keys and list indexes that lead from the entry to the part

    Returns
    -------
    The place with the line of the part, of the nearest part around it if it is not there, or of
    the entry if the file cannot be read any more.
    """
    inside = where.file.partition("/")[2]
    try:
        stamp = (root / inside).stat().st_mtime_ns
        parsed = _parsed(root / inside, where.file, stamp)
    except (OSError, TriageError):
        return where
    if isinstance(parsed.data, dict):
        return replace(where, line=parsed.line_of(path))
    for index in range(len(parsed.data or ())):
        if parsed.line_of((index,)) == where.line:
            return replace(where, line=parsed.line_of((index, *path)))
    return where


@lru_cache(maxsize=4)
def _parsed(path: Path, shown_as: str, stamp: int) -> Parsed:  # noqa: ARG001  (part of the key)
    """Return a parsed file; several faults in one file are looked up in one reading of it."""
    return parse_yaml(read_text(path, shown_as), shown_as)
