"""Merge two folders of cases: entry by entry, without loss, and the source is only read."""

from __future__ import annotations

import hashlib
import os
import shutil
import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Literal

from triage.case.folder import photo_path
from triage.case.models import Case
from triage.case.naming import SUFFIX, is_case_name, shown_path
from triage.case.reading import validated
from triage.case.store import create_case, load_case, make_folder, update_case
from triage.errors import TriageError, Where
from triage.history.index import folder_stamps
from triage.history.merging import CannotMerge, merged, photos_of, with_photos_renamed

Standing = Literal["new", "same", "merged", "beside", "refused"]
Check = Callable[[Case], None]
_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True)
class EntryResult:
    """What became of one entry.

    ``standing``: new; same (nothing to add); merged; beside (it contradicts ours and stands under
    another id); refused (nothing was changed). ``because`` says why.
    """

    entry: str
    standing: Standing
    because: str = ""
    case: str = ""


def merge_folders(
    ours: Path, theirs: Path, *, check: Check | None = None
) -> tuple[EntryResult, ...]:
    """Bring every case of another folder into ours and return what became of each.

    Parameters
    ----------
    ours   folder that is changed; cases are only added to, files never overwritten
    theirs folder that is read
    check  raises ``TriageError`` for a case that cannot be used here, such as an unknown zone

    Raises
    ------
    TriageError: a folder is missing, or both are the same. A fault of one case refuses that one.
    """
    names = [name for name in folder_stamps(theirs) if is_case_name(name)]
    if ours.resolve() == theirs.resolve():
        raise TriageError("both folders are the same", mend="name the folder to merge in")
    make_folder(ours)
    return tuple(merge_case(ours, theirs / name, check=check) for name in names)


def merge_case(ours: Path, source: Path, *, check: Check | None = None) -> EntryResult:
    """Bring one case file with its photos into our folder."""
    name = shown_path(Path(source.name))
    try:
        theirs = load_case(source, shown_as=name)
        if check is not None:
            check(theirs)
        return _brought(ours, source, theirs)
    except TriageError as fault:
        return EntryResult(name, "refused", fault.line())


def _brought(ours: Path, source: Path, theirs: Case) -> EntryResult:
    name = source.name
    missing = [photo for photo in photos_of(theirs) if not photo_path(source, photo).is_file()]
    theirs, copies = _placed_photos(ours, source, theirs, missing)
    lost = f"photos that did not come with it: {', '.join(missing)}" if missing else ""
    target = ours / name
    if not os.path.lexists(target):
        _copy(copies)
        create_case(ours, theirs)
        return EntryResult(name, "new", lost, theirs.id)
    try:
        before = load_case(target, shown_as=name)
        after = merged(before, theirs).case
    except CannotMerge as fault:
        return _beside(ours, theirs, copies, str(fault), lost)
    if after == before:
        return EntryResult(name, "same", lost, theirs.id)
    _copy(copies)
    try:
        # Merged anew under the lock: the file may have grown since it was read.
        update_case(target, lambda now: merged(now, theirs).case)
    except CannotMerge as fault:
        return _beside(ours, theirs, copies, str(fault), lost)
    return EntryResult(name, "merged", lost, theirs.id)


def _beside(
    ours: Path, theirs: Case, copies: list[tuple[Path, Path]], because: str, lost: str
) -> EntryResult:
    """Put a case that contradicts ours under another id, unless it stands there already."""
    origin, name = theirs.origin, f"{theirs.id}{SUFFIX}"
    number = 2
    while True:
        new_id = f"{theirs.id[:56]}-{number}"
        kept: Case = validated(Case, {**dict(theirs), "id": new_id, "merged_from": origin})
        path = ours / f"{new_id}{SUFFIX}"
        if not os.path.lexists(path):
            break
        standing = _added_beside(path, kept)
        if standing is not None:
            return EntryResult(name, standing, f"stands beside as {new_id}", new_id)
        number += 1
    _copy(copies)
    create_case(ours, kept)
    text = "; ".join(part for part in (because, lost) if part)
    return EntryResult(name, "beside", text, new_id)


def _added_beside(path: Path, kept: Case) -> Standing | None:
    """Bring a case into the copy of it that stands beside ours; None if it is another one's."""
    held = load_case(path, shown_as=path.name)
    if held.origin != kept.origin:
        return None
    try:
        if merged(held, kept).case == held:
            return "same"
        update_case(path, lambda now: merged(now, kept).case)
    except CannotMerge:
        return None
    return "merged"


def _placed_photos(
    ours: Path, source: Path, case: Case, missing: list[str]
) -> tuple[Case, list[tuple[Path, Path]]]:
    """Return the case with its photos under free names, and the copies to make."""
    names: dict[str, str] = {}
    copies: list[tuple[Path, Path]] = []
    for photo in photos_of(case):
        if photo in missing:
            continue
        origin = photo_path(source, photo)
        placed = _free_name(ours, photo, origin)
        if placed != photo:
            names[photo] = placed
        target = photo_path(ours / "x", placed)
        if not target.exists():
            copies.append((origin, target))
    return with_photos_renamed(case, names), copies


def _free_name(ours: Path, photo: str, origin: Path) -> str:
    """Return a name for a photo under which our folder has nothing else."""
    path = PurePosixPath(photo)
    number, name = 1, photo
    while True:
        target = photo_path(ours / "x", name)
        if not os.path.lexists(target) or _is_same_file(target, origin):
            return name
        number += 1
        name = str(path.with_name(f"{path.stem}-{number}{path.suffix}"))


def _is_same_file(one: Path, two: Path) -> bool:
    if not one.is_file() or one.stat().st_size != two.stat().st_size:
        return False
    return file_digest(one) == file_digest(two)


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file, read block by block."""
    digest = hashlib.sha256()
    with path.open("rb") as stream:
        while block := stream.read(_BLOCK):
            digest.update(block)
    return digest.hexdigest()


def _copy(copies: list[tuple[Path, Path]]) -> None:
    """Copy photos so that a name never stands for half a file."""
    for origin, target in copies:
        try:
            target.parent.mkdir(parents=True, exist_ok=True)
            handle, temp = tempfile.mkstemp(prefix=".photo-", dir=target.parent)
            os.close(handle)
            try:
                shutil.copyfile(origin, temp)
                Path(temp).chmod(0o644)
                Path(temp).replace(target)
            finally:
                Path(temp).unlink(missing_ok=True)
        except OSError as fault:
            raise TriageError(
                f"the photo could not be copied: {fault.strerror}",
                Where(shown_path(target)),
                "check space and rights",
            ) from None
