"""Photographs from files as arrays: the edge of this room, where the extra is installed."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np

from triage.errors import TriageError
from triage.picture.pair import Picture
from triage.picture.points import of_both

TIFF = (".tif", ".tiff")
RAW = (".arw", ".cr2", ".cr3", ".dng", ".nef", ".orf", ".pef", ".raf", ".rw2")
ENDINGS = (".jpg", ".jpeg", ".png", *TIFF, *RAW)
SMALLEST = 100  # points on the shorter side
LARGEST = 50_000_000  # points; memory grows with them, about 60 bytes for each


def read_both(before: Path, after: Path) -> tuple[Picture, Picture]:
    """Return two photos, read side by side; see ``read_photo``."""
    first, second = of_both(read_photo, before, after)
    return first, second


def read_photo(path: Path) -> Picture:
    """Return a photo as sRGB of 8 or 16 bits a colour, shape (rows, columns, 3).

    Raises
    ------
    TriageError: the extra is not installed, the file is no picture that can be read, it is too
                 small or too large to compare.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what a library plans is no matter of this photo
            points = _points(path)
    except ImportError as fault:
        raise TriageError(
            f'"{path}" cannot be read here: {fault.name} is missing',
            mend='install the extra "picture"',
        ) from None
    except Exception:  # noqa: BLE001  (each library has its own ways to fail on a broken file)
        raise TriageError(f'"{path}" is no picture that can be read') from None
    if points.ndim == 2:
        points = np.repeat(points[..., None], 3, axis=2)
    if points.ndim != 3 or points.shape[2] < 3 or points.dtype not in (np.uint8, np.uint16):
        raise TriageError(f'"{path}" is no picture of 8 or 16 bits a colour')
    rows, columns = points.shape[:2]
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
    try:
        import imageio.v3  # noqa: PLC0415  (an optional extra)
    except ImportError:
        raise TriageError("no picture can be made", mend='install the extra "picture"') from None
    return bytes(imageio.v3.imwrite("<bytes>", points, extension=".png", compress_level=4))


def _points(path: Path) -> Any:
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
    import imageio.v3  # noqa: PLC0415

    return imageio.v3.imread(path, rotate=True)
