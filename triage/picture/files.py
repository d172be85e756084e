"""Photographs from files as arrays: the edge of this room, where the extra is installed."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

import numpy as np

from triage.errors import TriageError
from triage.picture.colour import Array

TIFF = (".tif", ".tiff")
RAW = (".arw", ".cr2", ".cr3", ".dng", ".nef", ".orf", ".pef", ".raf", ".rw2")
LONGEST = 1024  # points on the longer side that a comparison looks at


def read_photo(path: Path) -> tuple[Array, int]:
    """Return a photo as sRGB of 0 to 1, and by how much its points were taken together.

    Raises
    ------
    TriageError: the extra is not installed, or the file is no picture that can be read.
    """
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # what a library plans is no matter of this photo
            points = _points(path)
    except ImportError:
        raise TriageError(
            "pictures cannot be compared here", mend='install the extra "picture"'
        ) from None
    except Exception:  # noqa: BLE001  (each library has its own ways to fail on a broken file)
        raise TriageError(f'"{path}" is no picture that can be read') from None
    if points.ndim == 2:
        points = np.repeat(points[..., None], 3, axis=2)
    if points.ndim != 3 or points.shape[2] < 3 or points.dtype not in (np.uint8, np.uint16):
        raise TriageError(f'"{path}" is no picture of 8 or 16 bits a colour')
    factor = -(-max(points.shape[:2]) // LONGEST)
    rows, columns = (side // factor * factor for side in points.shape[:2])
    if min(rows, columns) < 100 * factor:
        raise TriageError(f'"{path}" is too small to compare', mend="give the photo itself")
    blocks = points[:rows, :columns, :3].reshape(
        rows // factor, factor, columns // factor, factor, 3
    )
    mean: Array = blocks.mean(axis=(1, 3), dtype=np.float64) / np.iinfo(points.dtype).max
    return mean, factor


def _points(path: Path) -> Any:
    ending = path.suffix.lower()
    if ending in TIFF:
        import tifffile  # noqa: PLC0415  (an optional extra, as the two below)

        return tifffile.imread(path)
    if ending in RAW:
        import rawpy  # noqa: PLC0415

        with rawpy.imread(str(path)) as raw:
            return raw.postprocess(output_bps=16, no_auto_bright=True, use_camera_wb=True)
    import imageio.v3  # noqa: PLC0415

    return imageio.v3.imread(path, rotate=True)
