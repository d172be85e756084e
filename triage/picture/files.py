"""Photographs from files as arrays: the edge of this room, where the extra is installed."""

from __future__ import annotations

import io
import warnings
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from triage.errors import TriageError
from triage.picture.pair import Picture
from triage.picture.points import extra, of_both

JPEG, TIFF = (".jpg", ".jpeg"), (".tif", ".tiff")
RAW = (".arw", ".cr2", ".cr3", ".dng", ".nef", ".orf", ".pef", ".raf", ".rw2")
ENDINGS = (*JPEG, ".png", *TIFF, *RAW)
SMALLEST = 100  # points on the shorter side
LARGEST = 50_000_000  # points; memory grows with them, about 60 bytes for each


def read_both(
    before: Path, after: Path, enough: int | None = None
) -> tuple[Picture, Picture, float]:
    """Return two photos, and by how much they are smaller than their files say.

    ``enough``: so many points on the longer side will do; only JPEG photos are read faster so.
    """
    factor = 1.0
    if enough is not None and {before.suffix.lower(), after.suffix.lower()} <= set(JPEG):
        with suppress(Exception):  # what is wrong with a file is said when it is read
            factor = max(1.0, *(max(_size(each)) / enough for each in (before, after)))
    first, second = of_both(lambda path: read_photo(path, factor), before, after)
    return first, second, factor


def read_photo(path: Path, factor: float = 1.0) -> Picture:
    """Return a photo as sRGB of 8 or 16 bits a colour, shape (rows, columns, 3).

    Raises
    ------
    TriageError: the extra is not installed, the file is no picture that can be read, it is too
                 small or too large to compare.
    """
    try:
        with warnings.catch_warnings(), extra(f'"{path}" cannot be read here'):
            warnings.simplefilter("ignore")  # what a library plans is no matter of this photo
            points = _points(path, factor)
    except TriageError:
        raise
    except Exception:  # noqa: BLE001  (each library has its own ways to fail on a broken file)
        raise TriageError(f'"{path}" is no picture that can be read') from None
    if points.ndim == 2:
        points = np.repeat(points[..., None], 3, axis=2)
    if points.ndim != 3 or points.shape[2] < 3 or points.dtype not in (np.uint8, np.uint16):
        raise TriageError(f'"{path}" is no picture of 8 or 16 bits a colour')
    rows, columns = (factor * side for side in points.shape[:2])
    if min(rows, columns) < SMALLEST:
        raise TriageError(f'"{path}" is too small to compare', mend="give the photo itself")
    if rows * columns > LARGEST:
        raise TriageError(
            f'"{path}" has {rows * columns / 1e6:.0f} million points',
            mend=f"give a copy of at most {LARGEST / 1e6:.0f} million",
        )
    colours: Picture = points[..., :3]
    return colours


def png_of(points: Any) -> bytes:
    """Return 8 bit points as the bytes of a PNG file; TriageError where the extra is missing."""
    with extra("no picture can be made"):
        from PIL import Image  # noqa: PLC0415
    made = io.BytesIO()
    Image.fromarray(points).save(made, "PNG", compress_level=4)
    return made.getvalue()


def _points(path: Path, factor: float) -> Any:
    ending = path.suffix.lower()
    if ending in TIFF:
        import tifffile  # noqa: PLC0415  (an optional extra, as the two below)

        return tifffile.imread(path)
    if ending in RAW:
        import rawpy  # noqa: PLC0415

        with rawpy.imread(str(path)) as raw:
            # The curve of sRGB, not the library's own; white as the camera set it.
            return raw.postprocess(
                output_bps=16, no_auto_bright=True, use_camera_wb=True, gamma=(2.4, 12.92)
            )
    from PIL import Image, ImageOps  # noqa: PLC0415

    with Image.open(path) as opened:
        if factor > 1:  # a JPEG file is decoded at an eighth of its size and the like
            opened.thumbnail((opened.size[0] / factor, opened.size[1] / factor))
        held = ImageOps.exif_transpose(opened)
        return np.asarray(held if held.mode.startswith("I") else held.convert("RGB"))


def _size(path: Path) -> tuple[int, int]:
    from PIL import Image  # noqa: PLC0415

    with Image.open(path) as opened:
        return opened.size
