"""A case with its photos as one zip file.

Bundle format 1: ``bundle.json`` names format, program version and, for each further entry, its
SHA-256; cases stand at the top as ``ID.yaml``; photos at the paths that the cases name.

Nothing in a bundle that comes in is trusted. Paths, kinds, sizes and contents are checked before a
case is read; what comes out is counted while it comes out, since the sizes in a zip file may lie.
"""

from __future__ import annotations

import hashlib
import json
import os
import re
import stat
import tempfile
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from triage import __version__
from triage.case.folder import photo_path
from triage.case.naming import SUFFIX, is_case_name, shown_path
from triage.case.store import case_text, load_case, make_folder
from triage.errors import TriageError, Where, control_character
from triage.history.sharing import Check, EntryResult, file_digest, merge_case, photos_of
from triage.yamltext import MAX_BYTES

MANIFEST = "bundle.json"
FORMAT = 1
BLOCK = 1 << 16
_FIXED_TIME = (1980, 1, 1, 0, 0, 0)


def write_bundle(folder: Path, cases: Iterable[str], target: Path) -> tuple[EntryResult, ...]:
    """Write cases of a folder with their photos into a new zip file.

    Returns
    -------
    One result for each entry; a photo that is not there is refused and named, the rest is kept.

    Raises
    ------
    TriageError: a case cannot be read, none is given, or the target exists already.
    """
    names = sorted(set(cases))
    if not names:
        raise TriageError("no case to bundle", mend="name at least one case")
    if os.path.lexists(target):
        raise TriageError("this file exists already", Where(shown_path(target)), "choose another")
    loaded = [(name, load_case(folder / f"{name}{SUFFIX}")) for name in names]
    results: list[EntryResult] = []
    digests: dict[str, str] = {}
    try:
        handle, temp = tempfile.mkstemp(prefix=".bundle-", suffix=".tmp", dir=target.parent)
        os.close(handle)
        with zipfile.ZipFile(temp, "w", zipfile.ZIP_DEFLATED) as packed:
            for name, case in loaded:
                text = case_text(case).encode("utf-8")
                digests[f"{name}{SUFFIX}"] = hashlib.sha256(text).hexdigest()
                _put(packed, f"{name}{SUFFIX}", text)
                results.append(EntryResult(f"{name}{SUFFIX}", "new", case=name))
                results += _put_photos(packed, folder, name, photos_of(case), digests)
            manifest = {"format": FORMAT, "program": __version__, "entries": digests}
            _put(packed, MANIFEST, json.dumps(manifest, indent=1, sort_keys=True).encode("ascii"))
        Path(temp).chmod(0o644)
        Path(temp).replace(target)
    except OSError as fault:
        raise TriageError(
            f"the bundle could not be written: {fault.strerror}",
            Where(shown_path(target)),
            "check the folder, its rights and the space on the disk",
        ) from None
    return tuple(results)


def _put(packed: zipfile.ZipFile, name: str, content: bytes) -> None:
    # A fixed time, so that the same cases give the same bytes.
    packed.writestr(zipfile.ZipInfo(name, _FIXED_TIME), content, zipfile.ZIP_DEFLATED)


def _put_photos(
    packed: zipfile.ZipFile,
    folder: Path,
    case: str,
    photos: Iterable[str],
    digests: dict[str, str],
) -> list[EntryResult]:
    results = []
    for photo in photos:
        path = photo_path(folder / f"{case}{SUFFIX}", photo)
        if not path.is_file():
            results.append(EntryResult(photo, "refused", "no such photo beside the case", case))
            continue
        if photo not in digests:
            digests[photo] = file_digest(path)
            with (
                path.open("rb") as source,
                packed.open(zipfile.ZipInfo(photo, _FIXED_TIME), "w", force_zip64=True) as into,
            ):
                while block := source.read(BLOCK):
                    into.write(block)
        results.append(EntryResult(photo, "new", case=case))
    return results


#: photo endings and the bytes that such a file begins with
PHOTO_KINDS: Mapping[str, tuple[bytes, ...]] = {
    ".jpg": (b"\xff\xd8\xff",),
    ".jpeg": (b"\xff\xd8\xff",),
    ".png": (b"\x89PNG\r\n\x1a\n",),
    ".tif": (b"II*\x00", b"MM\x00*"),
    ".tiff": (b"II*\x00", b"MM\x00*"),
    ".webp": (b"RIFF",),
}
_DRIVE = re.compile(r"[A-Za-z]:")


@dataclass(frozen=True, slots=True)
class Caps:
    """Sizes above which an entry or a bundle is refused [bytes, entries]."""

    entries: int = 5000
    photo_bytes: int = 200_000_000
    all_bytes: int = 4_000_000_000


def read_bundle(
    bundle: Path, ours: Path, *, check: Check | None = None, caps: Caps | None = None
) -> tuple[EntryResult, ...]:
    """Bring the cases of a bundle into our folder and return what became of each entry.

    Parameters
    ----------
    bundle the zip file
    ours   folder that is changed; see ``sharing.merge_folders``
    check  raises ``TriageError`` for a case that cannot be used here
    caps   sizes above which an entry is refused

    Raises
    ------
    TriageError: not a zip file, too many entries, too large in all, or no sound manifest. Then
    nothing was changed. A fault of one entry refuses that entry only.
    """
    caps = caps or Caps()
    named = shown_path(bundle)
    make_folder(ours)
    try:
        with zipfile.ZipFile(bundle) as packed, tempfile.TemporaryDirectory() as held:
            digests = _manifest(packed, named, caps)
            refused = _unpacked(packed, Path(held), digests, caps)
            cases = [n for n in sorted(digests) if "/" not in n and is_case_name(n)]
            brought = [
                merge_case(ours, Path(held) / name, check=check)
                for name in cases
                if name not in refused
            ]
            unused = _unused(Path(held), cases, digests, refused)
    except (zipfile.BadZipFile, NotImplementedError, RuntimeError, EOFError) as fault:
        raise TriageError(
            f"this is not a sound zip file: {fault}", Where(named), "have it sent again"
        ) from None
    except OSError as fault:
        raise TriageError(
            f"the bundle cannot be read: {fault.strerror or fault}", Where(named), "check the file"
        ) from None
    faults = sorted({**refused, **unused}.items())
    failed = [EntryResult(shown_path(Path(name)), "refused", why) for name, why in faults]
    return (*brought, *failed)


def _manifest(packed: zipfile.ZipFile, named: str, caps: Caps) -> dict[str, str]:
    infos = packed.infolist()
    if len(infos) > caps.entries:
        raise TriageError(
            f"the bundle holds {len(infos)} entries", Where(named), f"send {caps.entries} at most"
        )
    if sum(info.file_size for info in infos) > caps.all_bytes:
        raise TriageError("the bundle is too large unpacked", Where(named), "send it in parts")
    try:
        info = packed.getinfo(MANIFEST)
        content: Any = json.loads(b"".join(_blocks(packed, info, MAX_BYTES)))
        digests = content["entries"]
        known = content["format"] == FORMAT
    except (KeyError, ValueError, TypeError, _TooLarge, RecursionError):
        raise TriageError(
            f"no sound {MANIFEST} in it: this is not a bundle of cases",
            Where(named),
            "make it with: triage bundle",
        ) from None
    if not known or not isinstance(digests, dict):
        raise TriageError(
            f"bundle format {content['format']!r:.20} is not known", Where(named), "update triage"
        )
    return {str(name): str(digest) for name, digest in digests.items()}


class _TooLarge(Exception):
    """An entry is larger unpacked than it may be."""


def _blocks(packed: zipfile.ZipFile, info: zipfile.ZipInfo, most: int) -> Iterator[bytes]:
    """Yield an entry, counting what really comes out: a size in the head may lie."""
    with packed.open(info) as stream:
        while block := stream.read(BLOCK):
            most -= len(block)
            if most < 0:
                raise _TooLarge
            yield block


def _unpacked(
    packed: zipfile.ZipFile, held: Path, digests: Mapping[str, str], caps: Caps
) -> dict[str, str]:
    """Unpack what is sound into an empty folder and return name -> fault of the rest."""
    refused: dict[str, str] = {}
    seen: set[str] = set()
    left = caps.all_bytes
    for info in packed.infolist():
        name = info.filename
        if info.filename == MANIFEST or info.is_dir():
            continue
        fault = _name_fault(info, digests, seen)
        seen.add(info.filename.casefold())
        if not fault:
            most = MAX_BYTES if info.filename.endswith(SUFFIX) else caps.photo_bytes
            size, fault = _unpack(packed, info, held, digests, min(most, left))
            left -= size
        if fault:
            refused[name] = fault
    for name in digests:
        if name.casefold() not in seen:
            refused[name] = "named in the list of the bundle but not in it"
    return refused


def _name_fault(info: zipfile.ZipInfo, digests: Mapping[str, str], seen: set[str]) -> str:
    """Return why an entry's name or kind is refused, empty if it is sound."""
    name = info.filename
    mode = info.external_attr >> 16
    is_case = "/" not in name and is_case_name(name)
    is_photo = PurePosixPath(name).suffix.lower() in PHOTO_KINDS
    faults = (
        (_leaves(name), "its path would leave the folder, or is hidden"),
        (stat.S_IFMT(mode) and not stat.S_ISREG(mode), "it is a link or a device, not a file"),
        (info.flag_bits & 0x1, "it is encrypted"),
        (name.casefold() in seen, "its name stands twice"),
        (name not in digests, "it is not in the list of the bundle"),
        (not is_case and not is_photo, "it is neither a case nor a photo"),
    )
    return next((fault for is_so, fault in faults if is_so), "")


def _leaves(name: str) -> bool:
    """Return whether a path could lead out of the folder on any system, or is hidden."""
    return bool(
        not name
        or "\\" in name
        or control_character(name)
        or PurePosixPath(name).is_absolute()
        or _DRIVE.match(name)
        or any(not part or part.startswith((".", "~")) for part in name.split("/"))
    )


def _unpack(
    packed: zipfile.ZipFile,
    info: zipfile.ZipInfo,
    held: Path,
    digests: Mapping[str, str],
    most: int,
) -> tuple[int, str]:
    """Unpack one entry; return its size and a fault, the file removed again where there is one."""
    target = held / info.filename
    size, digest, head = 0, hashlib.sha256(), b""
    fault = ""
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        with target.open("xb") as into:
            for block in _blocks(packed, info, most):
                size += len(block)
                head = head or block[:16]
                digest.update(block)
                into.write(block)
    except _TooLarge:
        fault = f"it is larger than {most / 1e6:g} MB unpacked"
    except (zipfile.BadZipFile, EOFError, OSError, NotImplementedError, RuntimeError) as error:
        fault = f"it cannot be unpacked: {error}"
    kinds = PHOTO_KINDS.get(PurePosixPath(info.filename).suffix.lower())
    if not fault and digest.hexdigest() != digests[info.filename]:
        fault = "its content is not what the list of the bundle says"
    if not fault and kinds is not None and not head.startswith(kinds):
        fault = "its content is not a photo of the kind its name says"
    if fault:
        target.unlink(missing_ok=True)
    return size, fault


def _unused(
    held: Path, cases: Iterable[str], digests: Mapping[str, str], refused: Mapping[str, str]
) -> dict[str, str]:
    """Return photos that no case of the bundle names: they were not taken over."""
    photos = {n for n in digests if PurePosixPath(n).suffix.lower() in PHOTO_KINDS}
    named: set[str] = set()
    for name in cases if photos else ():
        if name not in refused:
            try:
                named |= set(photos_of(load_case(held / name)))
            except TriageError:
                continue  # reported as an entry of its own
    return dict.fromkeys(photos - named - refused.keys(), "no case of the bundle names it")
