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
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields
from pathlib import Path
from typing import Any

import numpy as np

from triage import __version__
from triage.case.folder import TICK_NS, Stamp, folder_stamps
from triage.case.naming import SUFFIX
from triage.case.store import load_case, replace_bytes
from triage.errors import TriageError
from triage.history.columns import Columns, Ints, columns_from, rows_of

INDEX = ".history.npz"
# Raised with the form of the file, and when what makes a case sound changes.
FORMAT = 3
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
    owner   number of the file each row comes from, shape (rows,)
    columns the rows
    texts   JSON list of the text fields of each row, as bytes; read only where texts are shown
    broken  names of files that are not cases
    codes   numbers of the words of each column of words, shape (rows,) each; None: not known
    """

    names: tuple[str, ...]
    stamps: Ints
    owner: Ints
    columns: Columns
    texts: bytes
    broken: frozenset[str]
    codes: Mapping[str, Ints] | None = None

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
    kept = _kept_rows(old, stamps, written_ns)
    if old is not None and len(kept) == len(stamps) == len(old.names):
        return old
    made = _rebuilt(root, stamps, old, kept)
    changed = len(stamps) - len(kept)
    if old is None or changed > _FEW or len(old.names) > len(stamps) + _FEW:
        _write(root / INDEX, made)
    return made


def _kept_rows(old: Index | None, stamps: dict[str, Stamp], written_ns: int) -> dict[str, int]:
    """Return file name -> its number in the old index, for files that have not changed."""
    if old is None:
        return {}
    trusted = old.stamps[:, 0] < written_ns - TICK_NS
    return {
        name: number
        for number, (name, ok, stamp) in enumerate(
            zip(old.names, trusted.tolist(), old.stamps.tolist(), strict=True)
        )
        if ok and stamps.get(name) == tuple(stamp)
    }


def _rebuilt(
    root: Path, stamps: dict[str, Stamp], old: Index | None, kept: dict[str, int]
) -> Index:
    names = tuple(stamps)
    number_of = {name: number for number, name in enumerate(names)}
    fresh: list[dict[str, Any]] = []
    owner: list[int] = []
    broken = set()
    for name in names:
        if name in kept:
            continue
        try:
            rows = rows_of(load_case(root / name))
        except TriageError:
            broken.add(name)
            continue
        fresh += rows
        owner += [number_of[name]] * len(rows)
    texts = [row["text"] for row in fresh]
    columns, owners = columns_from(fresh), np.array(owner, dtype=np.int64)
    if old is not None and kept:
        columns, owners, texts = _with_kept(old, kept, number_of, (columns, owners, texts))
        broken |= old.broken & kept.keys()
    order = np.argsort(owners, kind="stable")
    return Index(
        names,
        np.array(list(stamps.values()), dtype=np.int64).reshape(-1, 3),
        owners[order],
        columns.taken(order),
        json.dumps([texts[row] for row in order.tolist()]).encode("utf-8"),
        frozenset(broken),
    )


def _with_kept(
    old: Index,
    kept: dict[str, int],
    number_of: dict[str, int],
    fresh: tuple[Columns, Ints, list[list[str]]],
) -> tuple[Columns, Ints, list[list[str]]]:
    renumber = np.full(len(old.names), -1, dtype=np.int64)
    for name, number in kept.items():
        renumber[number] = number_of[name]
    moved = renumber[old.owner]
    rows = np.flatnonzero(moved >= 0)
    held = old.text_rows()
    part = old.columns.taken(rows)
    columns = Columns(
        **{
            f.name: np.concatenate([getattr(part, f.name), getattr(fresh[0], f.name)])
            for f in fields(Columns)
        }
    )
    owners = np.concatenate([moved[rows], fresh[1]])
    return columns, owners, [held[row] for row in rows.tolist()] + fresh[2]


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
            columns = Columns(**{f.name: _unpacked(held, f.name) for f in fields(Columns)})
            names = tuple(held["names"].tolist())
            made = Index(
                names,
                held["stamps"].reshape(-1, 3),
                held["owner"],
                columns,
                held["texts"].tobytes(),
                frozenset(held["broken"].tolist()),
                {
                    f.name: held[f"{f.name}.codes"].astype(np.int64)
                    for f in fields(Columns)
                    if f"{f.name}.codes" in held
                },
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
    return (made, status.st_mtime_ns) if _is_sound(made) else (None, 0)


def _unpacked(held: Any, name: str) -> Any:
    if f"{name}.words" in held:
        return held[f"{name}.words"][held[f"{name}.codes"]]
    return held[name]


def _is_sound(made: Index) -> bool:
    lengths = {getattr(made.columns, f.name).shape for f in fields(Columns)}
    return (
        len(made.stamps) == len(made.names)
        and lengths == {made.owner.shape}
        and (made.owner.size == 0 or 0 <= made.owner.min() <= made.owner.max() < len(made.names))
    )


def _write(path: Path, index: Index) -> None:
    """Write the index, or leave it: the records must be readable in a folder that is read-only."""
    held: dict[str, Any] = {
        "version": np.array(f"{__version__}/{FORMAT}"),
        "names": _words(index.names),
        "stamps": index.stamps,
        "owner": index.owner,
        "texts": np.frombuffer(index.texts, dtype=np.uint8),
        "broken": _words(sorted(index.broken)),
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


def _words(words: Iterable[str]) -> Any:
    held = list(words)
    return np.array(held, dtype=np.str_) if held else np.empty(0, "<U1")


def names_since(index: Index, since_s: float) -> tuple[str, ...]:
    """Return the files with an attempt at or after a moment [s since 1970, UTC]."""
    owners = np.unique(index.owner[index.columns.at_s >= since_s])
    return tuple(index.names[number] for number in owners.tolist())


def case_names(index: Index) -> tuple[str, ...]:
    """Return the ids of the cases in an index."""
    return tuple(name.removesuffix(SUFFIX) for name in index.names if name not in index.broken)
