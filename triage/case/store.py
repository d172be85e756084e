"""Keep case files: read with every refusal in one line, write so that nothing is ever lost.

A change is made under a lock on a side file, to the newest content, into a temporary file in the
same folder that is flushed to the disk before it takes the place of the old one. A program that
dies at any moment leaves either the old file or the new one.
"""

from __future__ import annotations

import contextlib
import errno
import os
import stat
from collections.abc import Callable, Iterator
from functools import lru_cache
from pathlib import Path

from filelock import FileLock, Timeout

from triage.case.editing import edited_yaml
from triage.case.models import Case
from triage.case.naming import SUFFIX, is_reserved, shown_path
from triage.case.reading import case_from
from triage.errors import TriageError, Where
from triage.yamltext import MAX_BYTES, Parsed, dump_yaml, parse_yaml, read_text

LOCK_TIMEOUT_S = 60.0
LOCK_POLL_S = 0.01
# Recorded once, never lost or altered by a later change.
_KEPT = ("attempts", "releases", "overrides", "withdrawn", "restated")


def load_case(path: str | os.PathLike[str], *, shown_as: str = "") -> Case:
    """Return the case in a file.

    Parameters
    ----------
    path     case file
    shown_as its name in an error; the path if empty

    Raises
    ------
    TriageError: anything wrong with the file, with file, line, entry and mend.
    """
    return _read(Path(path), shown_as)[2]


def update_case(
    path: str | os.PathLike[str],
    change: Callable[[Case], Case],
    *,
    timeout_s: float = LOCK_TIMEOUT_S,
) -> Case:
    """Change a case file and return the case as it then stands on the disk.

    Parameters
    ----------
    path      case file
    change    called with the newest content while other writers wait: it plans nothing
    timeout_s time to wait for another writer [s]

    Raises
    ------
    TriageError: the file cannot be read or written, another program holds it, or the change would
    lose or alter something recorded. The file is then as it was.
    """
    source = Path(path)
    named = shown_path(source)
    _read(source)  # a faulty file is refused before a lock file is made beside it
    # A linked case file is replaced where it really stands, or the link would be lost.
    target = source.resolve()
    with _locked(target, named, timeout_s):
        text, parsed, old = _read(source)
        new = change(old)
        if new == old:
            return old
        _refuse_loss(old, new, named)
        if not os.access(target, os.W_OK):
            raise TriageError(
                "nothing was changed: the file is read-only", Where(named), "make it writable"
            )
        _replace_file(target, _text_for(text, parsed, old, new, named).encode("utf-8"), named)
        return new


def create_case(
    folder: str | os.PathLike[str], case: Case, *, timeout_s: float = LOCK_TIMEOUT_S
) -> Path:
    """Write a new case file into a folder and return its path; never overwrites."""
    path = Path(folder) / f"{case.id}{SUFFIX}"
    named = shown_path(path)
    if is_reserved(case.id):
        raise TriageError(
            f'"{case.id}" is a name that some systems keep for a device',
            Where(named),
            "choose another id",
        )
    if not Path(folder).is_dir():
        raise TriageError("no such folder", Where(shown_path(Path(folder))), "create it first")
    with _locked(path, named, timeout_s):
        if os.path.lexists(path):
            raise TriageError("this case exists already", Where(named), "choose another id")
        _replace_file(path, _fresh_text(case, named).encode("utf-8"), named)
    return path


def replace_text(path: Path, text: str) -> None:
    """Put a text into the place of a file in one step, under the lock of that file.

    Raises
    ------
    TriageError: locked, read-only or full; the file stays as it was.
    """
    named = shown_path(path)
    with _locked(path, named, LOCK_TIMEOUT_S):
        _replace_file(path, text.encode("utf-8"), named)


def replace_bytes(path: Path, content: bytes) -> None:
    """Put bytes into the place of a file that is no record in one step, without a lock.

    Raises
    ------
    TriageError: read-only or full; an older file stays as it was.
    """
    if path.exists() and not path.is_file():  # a pipe or a terminal
        try:
            path.write_bytes(content)
        except OSError as fault:
            raise _not_written(fault, shown_path(path)) from None
        return
    _replace_file(path.resolve(), content, shown_path(path))


def make_folder(path: Path) -> None:
    """Make a folder with those above it, if it is not there yet.

    Raises
    ------
    TriageError: it cannot be made.
    """
    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise TriageError(
            f"the folder cannot be made: {fault.strerror}",
            Where(shown_path(path)),
            "choose another folder, or check its rights and the space on the disk",
        ) from None


def append_text(path: Path, text: str) -> None:
    """Append whole lines to a file under its lock; a line that a dead program left is closed.

    Raises
    ------
    TriageError: locked, read-only or full; what stood in the file stays.
    """
    named = shown_path(path)
    try:
        if not path.exists():
            # Who may write into the folder shares the file, and so its lock.
            path.touch(0o600)
            path.chmod(stat.S_IMODE(path.parent.stat().st_mode) & 0o666 | 0o600)
    except OSError as fault:
        raise _not_written(fault, named) from None
    with _locked(path, named, LOCK_TIMEOUT_S):
        try:
            with path.open("ab+") as stream:
                if stream.tell():
                    stream.seek(-1, os.SEEK_END)
                    text = text if stream.read(1) == b"\n" else f"\n{text}"
                stream.write(text.encode("utf-8"))
                stream.flush()
                os.fsync(stream.fileno())
        except OSError as fault:
            raise _not_written(fault, named) from None


def case_text(case: Case) -> str:
    """Return a whole case as the text of its file."""
    return dump_yaml(case.plain())


def _read(path: Path, shown_as: str = "") -> tuple[str, Parsed, Case]:
    named = shown_as or shown_path(path)
    text = read_text(path, named)
    parsed, case = _case_of(text, named)
    if path.stem != case.id or path.suffix != SUFFIX:
        raise TriageError(
            f'the id is "{case.id}" but the file is named "{shown_path(Path(path.name))}"',
            Where(named, parsed.line_of(("id",)), "id"),
            f'rename the file to "{case.id}{SUFFIX}" or change the id',
        )
    return text, parsed, case


@lru_cache(maxsize=64)
def _case_of(text: str, named: str) -> tuple[Parsed, Case]:
    """Return what a text says: always the same, so those of the day are understood once."""
    parsed = parse_yaml(text, named)
    return parsed, case_from(parsed, named)


@contextlib.contextmanager
def _locked(path: Path, named: str, timeout_s: float) -> Iterator[None]:
    """Hold the kernel's lock on the side file; it ends with the program that holds it."""
    lock = FileLock(
        path.parent / f".{path.name}.lock",
        timeout=timeout_s,
        mode=_lock_rights(path),
        poll_interval=LOCK_POLL_S,
    )
    try:
        # A queue of writers may be long; only one that gets nothing done holds everybody up.
        while not _acquired(lock, path):
            pass
    except Timeout:
        raise TriageError(
            f"another program has been writing this case for {timeout_s:g} s",
            Where(named),
            "wait for it or close it, then try again",
        ) from None
    except (OSError, NotImplementedError) as fault:
        raise _not_written(fault, named) from None
    try:
        yield
    except TriageError:
        # Nothing was made: no empty file stays behind for it.
        if not os.path.lexists(path):
            with contextlib.suppress(OSError):
                Path(lock.lock_file).unlink()
        raise
    finally:
        lock.release()


def _acquired(lock: FileLock, path: Path) -> bool:
    """Return whether the lock is ours; False if others wrote meanwhile: then it is worth waiting.

    Raises
    ------
    Timeout: nobody wrote in all that time.
    """
    before = _stamp(path)
    try:
        lock.acquire()
    except Timeout:
        if _stamp(path) == before:
            raise
        return False
    return True


def _stamp(path: Path) -> tuple[int, int] | None:
    try:
        status = path.stat()
    except OSError:
        return None
    return status.st_mtime_ns, status.st_ino


def _lock_rights(path: Path) -> int:
    """Return the rights of a lock: who may not write the case may not hold up its writers."""
    try:
        return stat.S_IMODE(path.stat().st_mode) & 0o660 | 0o600
    except OSError:
        return 0o600


def _refuse_loss(old: Case, new: Case, named: str) -> None:
    where = Where(named)
    if new.id != old.id:
        raise TriageError("a change may not rename the case", where, "create a new case")
    for kind in _KEPT:
        recorded, kept = getattr(old, kind), getattr(new, kind)
        if kept[: len(recorded)] != recorded:
            raise TriageError(
                f"the change would lose or alter recorded {kind}",
                where,
                "add a correction behind them instead",
            )


def _text_for(text: str, parsed: Parsed, old: Case, new: Case, named: str) -> str:
    """Return the new text: edited in place if that gives exactly ``new``, else written afresh."""
    edited = edited_yaml(text, parsed, old.plain(), new.plain())
    if edited is not None and _stands_for(edited, new, named):
        return _sized(edited, named)
    return _fresh_text(new, named)


def _fresh_text(case: Case, named: str) -> str:
    text = _sized(case_text(case), named)
    if not _stands_for(text, case, named):
        raise TriageError(
            "the case holds a value that a case file cannot hold",
            Where(named),
            "use text, numbers, true or false only",
        )
    return text


def _stands_for(text: str, case: Case, named: str) -> bool:
    try:
        return _case_of(text, named)[1] == case
    except TriageError:
        return False


def _sized(text: str, named: str) -> str:
    if len(text.encode("utf-8")) > MAX_BYTES:
        raise TriageError(
            f"the case would grow beyond {MAX_BYTES / 1e6:g} MB",
            Where(named),
            "shorten its notes or begin a new case",
        )
    return text


def _replace_file(path: Path, content: bytes, named: str) -> None:
    """Put ``content`` into the place of a file in one step; on a fault the file stays."""
    # One name per case: the lock is held, so a file left by a program that died is overwritten.
    temp = path.parent / f".{path.name}.tmp"
    try:
        _write_flushed(temp, content, path)
        temp.replace(path)
    except OSError as fault:
        with contextlib.suppress(OSError):
            temp.unlink()
        raise _not_written(fault, named) from None
    _flush_folder(path.parent, named)


def _write_flushed(temp: Path, content: bytes, model: Path) -> None:
    with contextlib.suppress(FileNotFoundError):
        temp.unlink()
    flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0)
    handle = os.open(temp, flags, 0o666)
    try:
        _copy_rights(model, handle)
        left = memoryview(content)
        while left:
            left = left[os.write(handle, left) :]
        os.fsync(handle)
    finally:
        os.close(handle)


def _copy_rights(model: Path, handle: int) -> None:
    try:
        status = model.stat()
    except FileNotFoundError:
        return
    if hasattr(os, "fchmod"):
        with contextlib.suppress(PermissionError):
            os.fchown(handle, status.st_uid, status.st_gid)
        os.fchmod(handle, stat.S_IMODE(status.st_mode))


def _flush_folder(folder: Path, named: str) -> None:
    if not hasattr(os, "O_DIRECTORY"):
        return
    try:
        handle = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
    except OSError as fault:
        # Some file systems cannot flush a folder; that is no fault of the record.
        if fault.errno in (errno.EINVAL, errno.ENOTSUP, errno.EACCES, errno.EBADF):
            return
        raise TriageError(
            f"written, but the disk did not confirm it: {fault.strerror}",
            Where(named),
            "look into the file before recording the same again",
        ) from None


def _not_written(fault: OSError | NotImplementedError, named: str) -> TriageError:
    code = getattr(fault, "errno", None)
    if code in (errno.ENOSPC, errno.EDQUOT):
        message, mend = "the disk is full", "free some space, then try again"
    elif code in (errno.EACCES, errno.EPERM, errno.EROFS):
        message, mend = "the folder cannot be written to", "make it writable or copy the case"
    else:
        message = getattr(fault, "strerror", None) or "the file could not be locked or written"
        mend = "check the disk and the folder"
    return TriageError(f"nothing was changed: {message}", Where(named), mend)
