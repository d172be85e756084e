"""List the cases of a folder quickly, by an index that is only ever a copy of the files."""

from __future__ import annotations

import contextlib
import json
import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from triage import __version__
from triage.case.naming import SUFFIX, is_case_name, is_overlooked_name, one_line, shown_path
from triage.errors import TriageError, Where, control_character

INDEX = ".index.json"
# A file changed this shortly before the index was written may have changed again within one tick
# of the file system's clock, so its entry is not trusted. 2 s is the coarsest clock in use (FAT).
TICK_NS = 2_000_000_000
# Raised when what makes a file sound changes, so that an older index is not believed.
_VERSION = f"{__version__}/2"
_MAX_INDEX_BYTES = 50_000_000
# Time of change [ns], size [bytes] and time of status change [ns] of a file.
Stamp = tuple[int, int, int]


@dataclass(frozen=True, slots=True)
class CaseEntry:
    """One line of a case list; ``error`` holds the fault of a file that is not a case."""

    id: str
    title: str
    path: Path
    mtime_ns: int
    error: str = ""


def list_cases(folder: str | os.PathLike[str]) -> tuple[CaseEntry, ...]:
    """Return the cases of a folder in the order of their ids, broken ones with their fault.

    Raises
    ------
    TriageError: the folder is missing or cannot be read.

    Notes
    -----
    A hidden index keeps title and fault of files whose times and size are unchanged. It is
    rebuilt from the files whenever it is missing, old or damaged, and left out in a folder that
    cannot be written to.
    """
    root = Path(folder)
    stamps = folder_stamps(root)
    index, index_ns = _read_index(root / INDEX)
    entries: dict[str, CaseEntry] = {}
    fresh = True
    for name, stamp in stamps.items():
        known = index.get(name)
        if known is not None and _is_same(known, stamp) and stamp[0] < index_ns - TICK_NS:
            entries[name] = CaseEntry(
                name.removesuffix(SUFFIX), known[3], root / name, stamp[0], known[4]
            )
        else:
            fresh = False
            entries[name] = _read_entry(root / name, stamp[0])
    if not fresh or index.keys() != stamps.keys():
        _write_index(root / INDEX, entries, stamps)
    return tuple(sorted(entries.values(), key=lambda entry: entry.id))


def unread_files(folder: str | os.PathLike[str]) -> tuple[str, ...]:
    """Return the files of a folder that no list reads, each with the reason in words.

    They may be cases: those with another ending, and links to where nothing can be reached.

    Raises
    ------
    TriageError: the folder is missing or cannot be read.
    """
    found = []
    try:
        with os.scandir(folder) as items:
            for item in items:
                name = shown_path(Path(item.name))
                if is_overlooked_name(item.name) and not item.is_dir():
                    found.append(f"{name} is not read: its name must end in {SUFFIX}")
                elif (
                    is_case_name(item.name) and item.is_symlink() and not os.path.exists(item.path)  # noqa: PTH110  (never a fault)
                ):
                    found.append(f"{name} is a link to a file that is not there")
    except OSError as fault:
        raise _unreadable(Path(folder), fault) from None
    return tuple(sorted(found))


def _unreadable(folder: Path, fault: OSError) -> TriageError:
    return TriageError(
        f"the folder cannot be read: {fault.strerror}",
        Where(shown_path(folder)),
        "check the name and rights",
    )


def photo_path(case_path: str | os.PathLike[str], photo: str) -> Path:
    """Return where a photo named in a case stands.

    Raises
    ------
    TriageError: the path, with links followed, leaves the folder of the case.
    """
    folder = Path(case_path).resolve().parent
    path = folder / PurePosixPath(photo)
    try:
        inside = path.resolve().is_relative_to(folder)
    except (OSError, RuntimeError, ValueError):
        inside = False
    if not inside:
        raise TriageError(
            f'the photo "{shown_path(Path(photo))}" lies outside the folder of the case',
            Where(shown_path(Path(case_path))),
            "put the photo into that folder",
        )
    return path


def folder_stamps(folder: Path) -> dict[str, Stamp]:
    """Return the stamp of every case file of a folder by name, sorted.

    Raises
    ------
    TriageError: the folder is missing or cannot be read.
    """
    stamps: dict[str, Stamp] = {}
    try:
        with os.scandir(folder) as found:
            for item in (each for each in found if is_case_name(each.name)):
                with contextlib.suppress(OSError):  # a dangling link, or gone since
                    status = item.stat()
                    if not stat.S_ISDIR(status.st_mode):
                        stamps[item.name] = (status.st_mtime_ns, status.st_size, status.st_ctime_ns)
    except OSError as fault:
        raise _unreadable(folder, fault) from None
    return dict(sorted(stamps.items()))


def _read_entry(path: Path, mtime_ns: int) -> CaseEntry:
    # The index knows most files: a list that reads none needs no models.
    from triage.case.store import load_case  # noqa: PLC0415

    title = error = ""
    try:
        title = one_line(load_case(path, shown_as=shown_path(Path(path.name))).title)
    except TriageError as fault:
        error = fault.line().splitlines()[0]
    name = shown_path(Path(path.name)).removesuffix(SUFFIX)
    return CaseEntry(name, title, path, mtime_ns, error)


def _read_index(path: Path) -> tuple[dict[str, Any], int]:
    """Return the index by file name and the time it was written; empty if it is unusable."""
    try:
        status = path.stat()
        if not stat.S_ISREG(status.st_mode) or status.st_size > _MAX_INDEX_BYTES:
            return {}, 0
        content = json.loads(path.read_bytes())
        if content["version"] == _VERSION and isinstance(content["cases"], dict):
            return content["cases"], status.st_mtime_ns
    except (OSError, ValueError, KeyError, TypeError, RecursionError):
        pass
    return {}, 0


def _is_same(known: Any, stamp: Stamp) -> bool:
    return (
        isinstance(known, list)
        and len(known) == 5
        and known[:3] == [*stamp]
        and all(isinstance(text, str) and not control_character(text) for text in known[3:])
    )


def _write_index(path: Path, entries: Mapping[str, CaseEntry], stamps: Mapping[str, Stamp]) -> None:
    """Write the index, or leave it: a list must work in a folder that is read-only or full."""
    from triage.case.store import replace_bytes  # noqa: PLC0415  (as above)

    cases = {
        name: [*stamp, entries[name].title, entries[name].error] for name, stamp in stamps.items()
    }
    content = json.dumps({"version": _VERSION, "cases": cases}).encode("ascii")
    with contextlib.suppress(TriageError):
        replace_bytes(path, content)
