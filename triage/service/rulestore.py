"""The checked rulebase kept between runs: start-up without parsing, checking or normalising.

What is kept was loaded, checked and brought to its normal form by this program from exactly these
files; one changed byte in a rule, or another version of the program, and it is not used. It holds
values only: the reader makes nothing but the value types of this program.
"""

from __future__ import annotations

import contextlib
import hashlib
import io
import os
import pickle
import sys
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pydantic

from triage import __version__
from triage.engine.normal import NormalRules, normalise
from triage.knowledge.book import Knowledge
from triage.knowledge.load import load_knowledge

MOST_BYTES = 50_000_000
HEAD = b"triage rulebase\n"
DIGEST_BYTES = 32
PROGRAM = Path(__file__).resolve().parent.parent
# The parts of the program that decide what a rule file becomes.
DECIDING = ("knowledge", "engine")
PLAIN = frozenset({"set", "frozenset"})


@dataclass(frozen=True)
class Rulebase:
    """The knowledge and its rules in normal form."""

    knowledge: Knowledge
    normal: NormalRules


class _ValuesOnly(pickle.Unpickler):
    """Makes values of this program's own types, never calls anything else."""

    def find_class(self, module: str, name: str) -> Any:
        if module == "builtins" and name in PLAIN:
            return super().find_class(module, name)
        if module.startswith("triage.") and "." not in name:
            found = super().find_class(module, name)
            if isinstance(found, type) and found.__module__ == module:
                return found
        raise pickle.UnpicklingError(f"{module}.{name} is no value of this program")


def load_rulebase(folder: Path, kept: Path, parsed: Path) -> Rulebase:
    """Return the rulebase of a folder.

    Parameters
    ----------
    folder rules folder
    kept   file of the checked rulebase of the last run; written anew if it does not fit
    parsed file in which parsed values are kept, for a run after one file was changed

    Raises
    ------
    TriageError: the folder is missing, or any entry or rule is wrong.
    """
    try:
        key = _key(folder)
    except OSError:
        key = b""  # the loader says what is wrong, in words
    found = _read(kept, key) if key else None
    if found is not None:
        return replace(found, knowledge=replace(found.knowledge, root=folder))
    knowledge = load_knowledge(folder, cache=parsed)
    rulebase = Rulebase(knowledge, normalise(knowledge))
    if key:
        _write(kept, key, replace(rulebase, knowledge=replace(knowledge, root=None)))
    return rulebase


def _key(folder: Path) -> bytes:
    """Return a digest of every rule file's bytes and of what turns them into a rulebase."""
    digest = hashlib.sha256()
    python = sys.version_info[:3]
    digest.update(f"{__version__} {python} {pydantic.VERSION} {folder.name}".encode())
    for part in DECIDING:
        for path in _files(PROGRAM / part, ".py"):
            status = os.stat(path)  # noqa: PTH116  (a hundred files at every start)
            digest.update(f"{path} {status.st_size} {status.st_mtime_ns}\n".encode())
    for path in _files(folder, ".yaml"):
        with open(path, "rb") as stream:  # noqa: PTH123  (the same)
            content = stream.read()
        digest.update(f"{path[len(str(folder)) :]} {len(content)}\n".encode())
        digest.update(content)
    return digest.digest()


def _files(folder: Path, suffix: str) -> list[str]:
    return sorted(_under(str(folder), suffix))


def _under(folder: str, suffix: str) -> Iterator[str]:
    with os.scandir(folder) as entries:
        for entry in entries:
            if entry.is_dir():
                yield from _under(entry.path, suffix)
            elif entry.name.endswith(suffix):
                yield entry.path


def _read(path: Path, key: bytes) -> Rulebase | None:
    """Return what is kept under this key, None if it is missing, older, damaged or not values."""
    start = len(HEAD)
    try:
        if path.stat().st_size > MOST_BYTES:
            return None
        content = path.read_bytes()
        mark, body = content[start : start + 2 * DIGEST_BYTES], content[start + 2 * DIGEST_BYTES :]
        if content[:start] != HEAD or mark != key + hashlib.sha256(body).digest():
            return None
        found = _ValuesOnly(io.BytesIO(body)).load()
    except Exception:  # noqa: BLE001  (a damaged file has endless ways to fail; the rules are read)
        return None
    return found if isinstance(found, Rulebase) else None


def _write(path: Path, key: bytes, rulebase: Rulebase) -> None:
    """Write in one step; what cannot be written is left out."""
    with contextlib.suppress(OSError, pickle.PicklingError):
        body = pickle.dumps(rulebase, protocol=5)
        path.parent.mkdir(parents=True, exist_ok=True)
        handle, name = tempfile.mkstemp(dir=path.parent, prefix=".rules-")
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(HEAD + key + hashlib.sha256(body).digest() + body)
            Path(name).replace(path)
        except OSError:
            Path(name).unlink(missing_ok=True)
