"""A case with its photos as one zip file.

Bundle format 1: ``bundle.json`` names format, program version and, for each further entry, its
SHA-256; cases stand at the top as ``ID.yaml``; photos at the paths that the cases name.
"""

from __future__ import annotations

import hashlib
import json
import os
import tempfile
import zipfile
from collections.abc import Iterable
from pathlib import Path

from triage import __version__
from triage.case.folder import photo_path
from triage.case.naming import SUFFIX, shown_path
from triage.case.store import case_text, load_case
from triage.errors import TriageError, Where
from triage.history.merging import photos_of
from triage.history.sharing import EntryResult, file_digest

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
