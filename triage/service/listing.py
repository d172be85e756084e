"""The lines of the case list, and those that can be had before any rule is read."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from triage.case.folder import CaseEntry, list_cases
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


def first_lines(folder: Path) -> tuple[CaseLine, ...]:
    """Return all cases before any rule is read, by their names alone, the newest first."""
    return tuple(named_line(entry) for entry in newest_first(folder))
