"""Parsed rule files kept between runs, by the digest of their text: start-up without parsing.

Only the plain values and the lines of the entries are kept; they are validated and cross-checked
anew at every start. A cache that is missing, old, damaged or not writable is simply not used.
"""

from __future__ import annotations

import contextlib
import hashlib
import json
import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from triage import __version__
from triage.yamltext import Parsed, parse_yaml

MOST_BYTES = 20_000_000


@dataclass(frozen=True, slots=True)
class Kept:
    """Values of one file and the line of each top-level entry, in place of a full parse."""

    data: Any
    lines: tuple[int, ...]

    def line_of(self, path: tuple[Any, ...] = ()) -> int | None:
        """Return the line of the top-level entry that a path leads into."""
        if path and isinstance(path[0], int) and path[0] < len(self.lines):
            return self.lines[path[0]]
        return self.lines[0] if self.lines else None


class ParseCache:
    """Parsed files by the digest of program version and text; written once, by ``save``."""

    def __init__(self, path: Path | None) -> None:
        self.path = path
        self.used: dict[str, Any] = {}
        self.is_new = False
        self.has_served = False
        self.known = _read(path) if path else {}

    def parse(self, text: str, shown_as: str) -> Parsed | Kept:
        """Return a file's values, from the cache if its text was seen before."""
        key = hashlib.sha256(f"{__version__}\n{text}".encode()).hexdigest()
        kept = self.known.get(key)
        if kept is not None:
            self.used[key] = kept
            self.has_served = True
            return Kept(kept[0], tuple(kept[1]))
        parsed = parse_yaml(text, shown_as)
        count = len(parsed.data) if isinstance(parsed.data, list) else 1
        lines = [parsed.line_of((i,)) or 1 for i in range(count)]
        self.used[key] = [parsed.data, lines]
        self.is_new = True
        return parsed

    def save(self) -> None:
        """Write what this load used, in one step; a cache that cannot be written is left out."""
        if self.path is None or not self.is_new:
            return
        with contextlib.suppress(OSError, ValueError):
            content = json.dumps(self.used, ensure_ascii=False, allow_nan=False)
            self.path.parent.mkdir(parents=True, exist_ok=True)
            handle, name = tempfile.mkstemp(dir=self.path.parent, prefix=".rules-")
            try:
                with os.fdopen(handle, "w", encoding="utf-8") as stream:
                    stream.write(content)
                Path(name).replace(self.path)
            except OSError:
                Path(name).unlink(missing_ok=True)


def _read(path: Path) -> dict[str, Any]:
    try:
        if path.stat().st_size > MOST_BYTES:
            return {}
        content = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return {}
    if not isinstance(content, dict):
        return {}
    return {key: kept for key, kept in content.items() if _is_sound(kept)}


def _is_sound(kept: Any) -> bool:
    return (
        isinstance(kept, list)
        and len(kept) == 2
        and isinstance(kept[1], list)
        and all(isinstance(line, int) for line in kept[1])
    )
