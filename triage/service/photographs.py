"""The photos of a case: beside it, or in the folder that is watched, from which they are kept."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from triage.case.folder import photo_path
from triage.case.naming import shown_path
from triage.case.store import make_folder, replace_bytes
from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.service.workshop import Workshop

PHOTOS = "photos"
VIEWERS = {"darwin": "open", "win32": "explorer"}


def view_photo(place: Path) -> None:
    """Show a photo in the viewer of the system.

    Raises
    ------
    TriageError: there is none.
    """
    program = shutil.which(VIEWERS.get(sys.platform, "xdg-open"))
    if program is None:
        raise TriageError("no viewer is set up here", mend=f"open it yourself: {place}")
    quiet = subprocess.DEVNULL
    subprocess.Popen(  # noqa: S603  (found on the path, one file behind it)
        [program, str(place)], stdin=quiet, stdout=quiet, stderr=quiet, start_new_session=True
    )


class Photographs:
    """Where a photo is, which one is the newest, and how one from the camera is kept."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop

    @property
    def watched(self) -> Path | None:
        """The folder into which the camera writes, None if the bench names none."""
        watch = self.shop.bench.photos.watch
        beside = self.shop.bench_path.parent if self.shop.bench_path else self.shop.cases
        return (beside / Path(watch).expanduser()).resolve() if watch else None

    def newest_photo(self) -> tuple[Path, datetime] | None:
        """Return the newest picture of the watched folder, and when it was written.

        Raises
        ------
        TriageError: the folder cannot be read.
        """
        from triage.picture.files import ENDINGS  # noqa: PLC0415  (loads arrays)

        if self.watched is None:
            return None
        try:
            with os.scandir(self.watched) as found:
                pictures = [
                    (each.stat().st_mtime, each.path)
                    for each in found
                    if each.name.lower().endswith(ENDINGS)
                    and not each.name.startswith(".")
                    and each.is_file()
                ]
        except OSError as fault:
            raise TriageError(
                f'the watched folder "{shown_path(self.watched)}" cannot be read: {fault.strerror}',
                mend="mend its name in the bench: photos, watch",
            ) from None
        if not pictures:
            return None
        seconds, path = max(pictures)
        return Path(path), datetime.fromtimestamp(seconds, self.shop.clock().tzinfo)

    def check_photo(self, case: str | Path, photo: str) -> Path:
        """Return where a photo stands: named by its path beside the case, or watched for.

        Raises
        ------
        TriageError: it is not there, or outside both folders.
        """
        place = Path(photo)
        if not self._is_watched(place):
            place = photo_path(self.shop.path_of(case), photo)
        if not place.is_file():
            raise TriageError(f'no photo "{photo}" beside the case', mend="check the path")
        return place

    def _is_watched(self, place: Path) -> bool:
        return (
            self.watched is not None
            and place.is_absolute()
            and place.resolve().parent == self.watched
        )

    def keep_photo(self, case: Path, photo: str | None) -> str | None:
        """Return the path of a photo beside its case; one of the watched folder is copied there.

        The camera's own file stays as it is, and nothing that lies beside the case is written over.
        """
        if photo is None or not self._is_watched(Path(photo)):
            return photo
        source = Path(photo)
        folder = case.parent / PHOTOS / case.stem
        make_folder(folder)
        taken, size = source.stat().st_mtime_ns, source.stat().st_size
        number, place = 1, folder / source.name
        while place.exists():
            held = place.stat()
            if (held.st_mtime_ns, held.st_size) == (taken, size):
                return place.relative_to(case.parent).as_posix()
            number += 1
            place = folder / f"{source.stem}-{number}{source.suffix}"
        replace_bytes(place, source.read_bytes())
        os.utime(place, ns=(source.stat().st_atime_ns, taken))
        return place.relative_to(case.parent).as_posix()
