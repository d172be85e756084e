"""Two records of one specimen, or two folders of cases, become one without loss.

The source is only read; two records that contradict each other stand side by side.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any, Literal

from triage.case.folder import folder_stamps, photo_path
from triage.case.models import Attempt, Case, Finding
from triage.case.naming import SUFFIX, is_case_name, shown_path
from triage.case.reading import validated
from triage.case.store import create_case, load_case, make_folder, replace_bytes, update_case
from triage.errors import TriageError, Where

#: what a case says once; two different values cannot both stand in one file
_SINGLE = ("title", "taxon", "invented", "merged_from")
_MAPS = ("specimen", "answers")
_EMPTY = {
    "title": "",
    "merged_from": "",
    "taxon": "unknown",
    "named": None,
    "side": None,
    "reason": "",
}


class CannotMerge(Exception):
    """The two records contradict each other; the text names the first place."""


def merged(ours: Case, theirs: Case) -> Case:
    """Return one case that holds everything of both.

    Parameters
    ----------
    ours   stays as it is: its attempts keep their ids and their order
    theirs what it adds: answers, signs, findings, attempts, releases, overrides, timers

    Raises
    ------
    CannotMerge: both say different things where only one can stand.

    Notes
    -----
    Attempts that stand in both files alike are one. Others keep their order behind ours; an id in
    use for something else is renamed, and with it what refers to it. Merging twice changes
    nothing.
    """
    content: dict[str, Any] = {name: _single(ours, theirs, name) for name in _SINGLE}
    for name in _MAPS:
        content[name] = _united(getattr(ours, name), getattr(theirs, name), name)
    content["attempts"], renamed = _attempts(ours, theirs)
    for name in ("releases", "overrides", "restated", "withdrawn"):
        added = _plains(getattr(theirs, name))
        for each in added if name == "releases" else ():
            each["attempt"] = renamed.get(each["attempt"], each["attempt"])
        mine = _plains(getattr(ours, name))
        content[name] = mine + [each for each in added if each not in mine]
    content["timers"] = _timers(ours, theirs)
    content["findings"] = _standing(_findings(ours, theirs), content["withdrawn"])
    extra = _united(ours.model_extra or {}, theirs.model_extra or {}, "key")
    try:
        made: Case = validated(Case, {"format": 1, "id": ours.id, **content, **extra})
    except TriageError as fault:
        raise CannotMerge(fault.message) from None
    return made


def _single(ours: Any, theirs: Any, name: str) -> Any:
    mine, other = getattr(ours, name), getattr(theirs, name)
    empty = _EMPTY.get(name)
    if other in (mine, empty):
        return mine
    if mine == empty:
        return other
    raise CannotMerge(f'{name} is "{mine}" here and "{other}" there')


def _united(mine: Mapping[str, Any], other: Mapping[str, Any], what: str) -> dict[str, Any]:
    for key in sorted(mine.keys() & other.keys()):
        if mine[key] != other[key]:
            raise CannotMerge(f'{what} {key} is "{mine[key]}" here and "{other[key]}" there')
    return {**mine, **other}


def _findings(ours: Case, theirs: Case) -> list[dict[str, Any]]:
    other = {finding.id: finding for finding in theirs.findings}
    found = [
        _finding(finding, other.pop(finding.id)) if finding.id in other else finding.plain()
        for finding in ours.findings
    ]
    return found + [finding.plain() for finding in theirs.findings if finding.id in other]


def _standing(
    findings: list[dict[str, Any]], withdrawn: list[dict[str, Any]]
) -> list[dict[str, Any]]:
    """Return the findings without those that one of the two took back as they stand here.

    What was seen since on one that the other took back is a contradiction.
    """
    kept = []
    for finding in findings:
        gone = [w["finding"] for w in withdrawn if w["finding"]["id"] == finding["id"]]
        same = [each for each in gone if each["zone"] == finding["zone"]]
        if any(finding.get("signs", {}).items() <= each.get("signs", {}).items() for each in same):
            continue
        if same:
            raise CannotMerge(f'finding "{finding["id"]}" is withdrawn in one record only')
        kept.append(finding)
    return kept


def _finding(mine: Finding, other: Finding) -> dict[str, Any]:
    if mine.zone != other.zone:
        raise CannotMerge(f'finding "{mine.id}" is in {mine.zone} here and {other.zone} there')
    made: dict[str, Any] = {"id": mine.id, "zone": mine.zone}
    for name in ("side", "named", "reason"):
        made[name] = _single(mine, other, name)
    if mine.accepted != other.accepted and mine.reason and other.reason:
        raise CannotMerge(f'finding "{mine.id}" is accepted in one record only')
    made["accepted"] = mine.accepted or other.accepted
    made["signs"] = _united(mine.signs, other.signs, f"sign of {mine.id}")
    return {**made, **_united(mine.model_extra or {}, other.model_extra or {}, "key")}


def _attempts(ours: Case, theirs: Case) -> tuple[list[dict[str, Any]], dict[str, str]]:
    """Return ours, then what is new of theirs, and how the ids of theirs read now."""
    mine = _plains(ours.attempts)
    taken = (attempt.id for attempt in (*ours.attempts, *theirs.attempts))
    newest = max((int(name[1:]) for name in taken), default=0)
    renamed: dict[str, str] = {}
    added: list[dict[str, Any]] = []
    known = [(attempt["id"], _bare(attempt)) for attempt in mine]
    for attempt in theirs.attempts:
        content = attempt.plain()
        if content.get("corrects"):
            content["corrects"] = renamed.get(content["corrects"], content["corrects"])
        same = next((name for name, bare in known if bare == _bare(content)), None)
        if same is not None:
            renamed[attempt.id] = same
            continue
        if attempt.id in dict(known):
            newest += 1
            content["id"] = f"a{newest}"
        renamed[attempt.id] = content["id"]
        added.append(content)
    return mine + added, renamed


def _bare(content: Mapping[str, Any]) -> dict[str, Any]:
    """Return an attempt without its id: what was done, when, and with what result."""
    return {key: held for key, held in content.items() if key != "id"}


def _timers(ours: Case, theirs: Case) -> list[dict[str, Any]]:
    other = {timer.step: timer for timer in theirs.timers}
    for timer in ours.timers:
        if timer.step in other and other.pop(timer.step) != timer:
            raise CannotMerge(f'a timer of "{timer.step}" runs differently in each')
    return _plains(ours.timers) + [timer.plain() for timer in other.values()]


def _plains(records: Any) -> list[dict[str, Any]]:
    return [record.plain() for record in records]


def photos_of(case: Case) -> tuple[str, ...]:
    """Return every photo that a case names, sorted."""
    named = {a.photo_before for a in case.attempts} | {a.photo_after for a in case.attempts}
    return tuple(sorted(photo for photo in named if photo))


def with_photos_renamed(case: Case, names: Mapping[str, str]) -> Case:
    """Return the case with photos under other names."""
    if not any(photo in names for photo in photos_of(case)):
        return case
    attempts = [dict(attempt) for attempt in case.attempts]
    for held in attempts:
        for side in ("photo_before", "photo_after"):
            held[side] = names.get(held[side] or "", held[side])
    made = tuple(validated(Attempt, held) for held in attempts)
    return validated(Case, {**dict(case), "attempts": made})


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
