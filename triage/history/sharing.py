"""Merge two folders of cases: entry by entry, without loss, and the source is only read."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Literal

from triage.case.folder import folder_stamps, photo_path
from triage.case.models import Case
from triage.case.naming import SUFFIX, is_case_name, shown_path
from triage.case.reading import validated
from triage.case.store import create_case, load_case, make_folder, replace_bytes, update_case
from triage.errors import TriageError, Where
from triage.history.merging import CannotMerge, merged, photos_of, with_photos_renamed

Standing = Literal["new", "same", "merged", "beside", "refused"]
Check = Callable[[Case], None]


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
    """Bring a case into the one of its id, or into the copy beside it where the two contradict."""
    missing = [photo for photo in photos_of(theirs) if not photo_path(source, photo).is_file()]
    theirs, copies = _placed_photos(ours, source, theirs, missing)
    lost = f"photos that did not come with it: {', '.join(missing)}" if missing else ""
    kept, number, because = theirs, 1, ""
    while True:
        try:
            standing = _added(ours, kept, copies, of=theirs.origin if number > 1 else None)
        except CannotMerge as fault:
            number, because = number + 1, because or str(fault)
            named = {"id": f"{theirs.id[:56]}-{number}", "merged_from": theirs.origin}
            kept = validated(Case, {**dict(theirs), **named})
            continue
        if number == 1:
            because = lost
        elif standing == "new":
            standing, because = "beside", "; ".join(part for part in (because, lost) if part)
        else:
            because = f"stands beside as {kept.id}"
        return EntryResult(source.name, standing, because, kept.id)


def _added(
    ours: Path, case: Case, copies: list[tuple[Path, Path]], of: str | None = None
) -> Standing:
    """Bring a case and its photos into our file of its id.

    Raises
    ------
    CannotMerge: our file contradicts it, or is a copy of another case than ``of``.
    """
    path = ours / f"{case.id}{SUFFIX}"
    if not os.path.lexists(path):
        _copy(copies)
        create_case(ours, case)
        return "new"
    held = load_case(path, shown_as=path.name)
    if of is not None and held.origin != of:
        raise CannotMerge(f"{case.id} is another case")
    if merged(held, case) == held:
        return "same"
    _copy(copies)
    # Merged anew under the lock: the file may have grown since it was read.
    update_case(path, lambda now: merged(now, case))
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
    alike = one.is_file() and one.stat().st_size == two.stat().st_size
    return alike and file_digest(one) == file_digest(two)


def file_digest(path: Path) -> str:
    """Return the SHA-256 of a file."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


def _copy(copies: list[tuple[Path, Path]]) -> None:
    """Copy photos so that a name never stands for half a file."""
    for origin, target in copies:
        make_folder(target.parent)
        try:
            content = origin.read_bytes()
        except OSError as fault:
            raise TriageError(
                f"the photo could not be read: {fault.strerror}",
                Where(shown_path(origin)),
                "check its rights",
            ) from None
        replace_bytes(target, content)
