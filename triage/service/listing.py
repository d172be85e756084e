"""The lines of the case list, and those that can be had before any rule is read."""

from __future__ import annotations

import contextlib
import json
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from triage import __version__
from triage.case.folder import CaseEntry, list_cases
from triage.errors import TriageError, control_character
from triage.show.words import stage_word

Clock = Callable[[], datetime]


def local_now() -> datetime:
    """Return the present moment with the local time zone."""
    return datetime.now().astimezone()


UNPLANNED = "open it to see the next step"


@dataclass(frozen=True)
class CaseLine:
    """One case as the list shows it; ``fault`` is set for a file that is not a case.

    ``is_planned`` says whether stage, next step and hold were worked out, ``mtime_ns`` from which
    state of the file.
    """

    id: str
    title: str
    path: Path
    stage: str = ""
    next_step: str = ""
    held: bool = False
    running: str = ""
    fault: str = ""
    is_planned: bool = True
    mtime_ns: int = 0


def newest_first(folder: Path) -> list[CaseEntry]:
    """Return the cases of a folder, those changed last first; none if there is no folder yet."""
    entries = list_cases(folder) if folder.is_dir() else ()
    return sorted(entries, key=lambda entry: (-entry.mtime_ns, entry.id))


def doing_words(line: CaseLine) -> str:
    """Return where a case stands and what comes next, as a list of cases says it."""
    following = line.next_step or ("release it first" if line.held else "nothing to do now")
    return f"{stage_word(line.stage)}: {following}" if line.is_planned else UNPLANNED


def named_line(entry: CaseEntry) -> CaseLine:
    """Return a case by its name alone: its plan is not known (yet)."""
    return CaseLine(
        entry.id,
        entry.title,
        entry.path,
        fault=entry.error,
        is_planned=False,
        mtime_ns=entry.mtime_ns,
    )


def first_lines(folder: Path, memory: Path) -> tuple[CaseLine, ...]:
    """Return all cases before any rule is read, held ones first, then the newest.

    What the last list said of a file that was not changed since is said again; of the others
    only the name is known. Rules, bench and day may have changed: the list is worked out anew
    behind this one, which nobody acts on but to choose a case.
    """
    said = _remembered(folder, memory)
    lines = [named_line(entry) for entry in newest_first(folder)]
    known = [_with(line, said.get(line.path.name)) for line in lines]
    return tuple(sorted(known, key=lambda line: not line.held))


def remember(folder: Path, memory: Path, lines: tuple[CaseLine, ...]) -> None:
    """Keep what the list says for the next start; what cannot be written is left out."""
    # The first list needs no models.
    from triage.case.store import make_folder, replace_bytes  # noqa: PLC0415

    cases = {
        line.path.name: [line.mtime_ns, line.stage, line.next_step, line.running, line.held]
        for line in lines
        if line.is_planned and not line.fault
    }
    content = {"version": __version__, "folder": str(folder.absolute()), "cases": cases}
    with contextlib.suppress(TriageError, ValueError):
        make_folder(memory.parent)
        replace_bytes(memory, json.dumps(content).encode("ascii"))


def _remembered(folder: Path, memory: Path) -> dict[str, Any]:
    try:
        content = json.loads(memory.read_bytes())
        same = content["version"] == __version__ and content["folder"] == str(folder.absolute())
        return dict(content["cases"]) if same else {}
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        return {}


def _with(line: CaseLine, said: Any) -> CaseLine:
    """Return a line with what was said of it last, if that fits the file and reads as such."""
    if line.fault or not isinstance(said, list) or len(said) != 5 or said[0] != line.mtime_ns:
        return line
    _, stage, step, running, held = said
    texts = (stage, step, running)
    if not all(isinstance(text, str) and not control_character(text) for text in texts):
        return line
    return replace(
        line, stage=stage, next_step=step, running=running, held=bool(held), is_planned=True
    )
