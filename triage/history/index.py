"""Keep the attempts of a folder in one file of columns, which is only ever a copy of the cases.

Only files whose times or size changed are read again; the copy is rebuilt whenever it is missing,
old or damaged, and left out in a folder that cannot be written to.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import zipfile
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np

from triage import __version__
from triage.case.folder import TICK_NS, Stamp, folder_stamps
from triage.case.naming import SUFFIX
from triage.case.store import load_case, replace_bytes
from triage.errors import TriageError
from triage.history.columns import Columns, Ints, columns_from, joined, rows_of, same_columns
from triage.history.evidence import Evidence, terms_of, trials_of
from triage.knowledge.book import Knowledge

INDEX = ".history.npz"
# Raised with the form of the file, and when what makes a case sound changes.
FORMAT = 4
# Writing ten thousand cases anew takes longer than reading a few of them again.
_FEW = 30
_MAX_BYTES = 500_000_000
_MAX_UNPACKED = 4_000_000_000


@dataclass(frozen=True)
class Index:
    """The attempts of a folder.

    Parameters
    ----------
    names   file names, sorted; broken files are among them but give no rows
    stamps  time of change [ns], size [bytes] and time of status change [ns], shape (files, 3)
    columns the rows, those of one file together
    texts   JSON list of the text fields of each row, as bytes; read only where texts are shown
    broken  names of files that are not cases
    """

    names: tuple[str, ...]
    stamps: Ints
    columns: Columns
    texts: bytes
    broken: frozenset[str]

    def text_rows(self) -> list[list[str]]:
        """Return the text fields of every row, in the order of ``TEXT_FIELDS``."""
        found: list[list[str]] = json.loads(self.texts or b"[]")
        return found


def load_index(folder: str | os.PathLike[str]) -> Index:
    """Return the attempts of a folder, reading only the case files that changed.

    Raises
    ------
    TriageError: the folder is missing or cannot be read; a broken case is left out, not raised.
    """
    root = Path(folder)
    stamps = folder_stamps(root)
    old, written_ns = _read(root / INDEX)
    kept = _kept_files(old, stamps, written_ns)
    if old is not None and len(kept) == len(stamps) == len(old.names):
        return old
    made = _rebuilt(root, stamps, old, kept)
    changed = len(stamps) - len(kept)
    if old is None or changed > _FEW or len(old.names) > len(stamps) + _FEW:
        _write(root / INDEX, made)
    return made


def _kept_files(old: Index | None, stamps: dict[str, Stamp], written_ns: int) -> set[str]:
    if old is None:
        return set()
    trusted = old.stamps[:, 0] < written_ns - TICK_NS
    rows = zip(old.names, trusted.tolist(), old.stamps.tolist(), strict=True)
    return {name for name, ok, stamp in rows if ok and stamps.get(name) == tuple(stamp)}


def _rebuilt(root: Path, stamps: dict[str, Stamp], old: Index | None, kept: set[str]) -> Index:
    fresh: list[dict[str, Any]] = []
    broken = set()
    for name in stamps.keys() - kept:
        try:
            fresh += rows_of(load_case(root / name), name)
        except TriageError:
            broken.add(name)
    columns, texts = columns_from(fresh), [row["text"] for row in fresh]
    if old is not None and kept:
        rows, held = np.flatnonzero(np.isin(old.columns.file, sorted(kept))), old.text_rows()
        columns = joined(columns, old.columns.taken(rows))
        texts += [held[row] for row in rows.tolist()]
        broken |= old.broken & kept
    order = np.argsort(columns.file, kind="stable")
    return Index(
        tuple(stamps),
        np.array(list(stamps.values()), dtype=np.int64).reshape(-1, 3),
        columns.taken(order),
        json.dumps([texts[row] for row in order.tolist()]).encode("utf-8"),
        frozenset(broken),
    )


def _read(path: Path) -> tuple[Index | None, int]:
    """Return the index and when it was written [ns]; None if it is unusable."""
    try:
        status = path.stat()
        if status.st_size > _MAX_BYTES:
            return None, 0
        with zipfile.ZipFile(path) as packed:
            if sum(item.file_size for item in packed.infolist()) > _MAX_UNPACKED:
                return None, 0
        with np.load(path, allow_pickle=False) as held:
            if str(held["version"]) != f"{__version__}/{FORMAT}":
                return None, 0
            made = Index(
                tuple(held["names"].tolist()),
                held["stamps"].reshape(-1, 3),
                Columns(**{f.name: _unpacked(held, f.name) for f in fields(Columns)}),
                held["texts"].tobytes(),
                frozenset(held["broken"].tolist()),
            )
    except (
        OSError,
        ValueError,
        KeyError,
        IndexError,
        TypeError,
        EOFError,
        MemoryError,
        zipfile.BadZipFile,
    ):
        return None, 0
    shapes = {getattr(made.columns, f.name).shape for f in fields(Columns)}
    is_sound = len(made.stamps) == len(made.names) and shapes == {made.columns.outcome.shape}
    return (made, status.st_mtime_ns) if is_sound else (None, 0)


def _unpacked(held: Any, name: str) -> Any:
    if f"{name}.words" in held:
        return held[f"{name}.words"][held[f"{name}.codes"]]
    return held[name]


def _write(path: Path, index: Index) -> None:
    """Write the index, or leave it: the records must be readable in a folder that is read-only."""
    held: dict[str, Any] = {
        "version": np.array(f"{__version__}/{FORMAT}"),
        "names": np.array(index.names, dtype=np.str_),
        "stamps": index.stamps,
        "texts": np.frombuffer(index.texts, dtype=np.uint8),
        "broken": np.array(sorted(index.broken), dtype=np.str_),
    }
    for field in fields(Columns):
        column = getattr(index.columns, field.name)
        if column.dtype.kind == "U":
            # A word stands once; rows hold its number, or a long one would widen every row.
            words, codes = np.unique(column, return_inverse=True)
            held[f"{field.name}.words"], held[f"{field.name}.codes"] = words, codes.astype(np.int32)
        else:
            held[field.name] = column
    packed = io.BytesIO()
    np.savez(packed, **held)
    with contextlib.suppress(TriageError):
        replace_bytes(path, packed.getvalue())


def names_since(index: Index, since_s: float) -> tuple[str, ...]:
    """Return the files with an attempt at or after a moment [s since 1970, UTC]."""
    return tuple(np.unique(index.columns.file[index.columns.at_s >= since_s]).tolist())


def case_names(index: Index) -> tuple[str, ...]:
    """Return the ids of the cases in an index."""
    return tuple(name.removesuffix(SUFFIX) for name in index.names if name not in index.broken)


class FolderRecord:
    """Evidence of a folder, kept as long as no case file changes.

    Parameters
    ----------
    folder    folder of the cases; one that is not there yet has an empty record
    knowledge says how counts become rates
    """

    def __init__(self, folder: Path, knowledge: Knowledge) -> None:
        self.folder = folder
        self.knowledge = knowledge
        self._stamps: dict[str, Stamp] | None = None
        self._evidence: Evidence | None = None
        self._index: Index | None = None

    def index(self) -> Index | None:
        """Return the index of the folder, None without a folder."""
        self._refresh()
        return self._index

    def columns(self) -> Columns:
        """Return the attempts of the folder, none without a folder."""
        index = self.index()
        return columns_from(()) if index is None else index.columns

    def evidence(self) -> Evidence:
        """Return the evidence of the folder as it stands now."""
        columns = self.columns()
        if self._evidence is None:
            self._evidence = Evidence(trials_of(columns), terms_of(self.knowledge))
        return self._evidence

    def _refresh(self) -> None:
        if not self.folder.is_dir():
            if self._index is not None:
                self._index = self._evidence = self._stamps = None
            return
        stamps = folder_stamps(self.folder)
        if self._index is None or stamps != self._stamps:
            index = load_index(self.folder)
            # An answer changes a file but no attempt: then the evidence is the same object.
            if self._index is None or not same_columns(index.columns, self._index.columns):
                self._evidence = None
            self._index, self._stamps = index, stamps
