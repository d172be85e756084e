"""Photographs from files as arrays, and with the changes marked on them: the edge of this room."""

from __future__ import annotations

import io
import warnings
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from triage.errors import TriageError
from triage.picture.pair import Comparison, Picture
from triage.picture.points import extra, of_both, shrunk

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


GAP = 8  # points between the two
LEFT, CAME, LOST = (0, 191, 255), (255, 140, 0), (255, 0, 153)


def marked(
    before: Picture, after: Picture, found: Comparison, longest: int | None = None
) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """Return both with their marks: rings where a spot left, crosses where one came.

    A square frame stands where fine structure is gone. Marks are black and coloured lines, so that
    they show on any ground and to any eye; ``longest`` is how many points each photo may have along
    its longer side, for a screen or a sheet.
    """
    factor = -(-max(before.shape) // longest) if longest else 1
    first, second = (_eight_bit(shrunk(each, factor)) for each in (before, after))
    thick = max(1, round(max(first.shape) / 1000))

    def here(row: float, column: float) -> tuple[float, float]:
        return (row + 0.5) / factor - 0.5, (column + 0.5) / factor - 0.5

    half, placed = 0.5 / factor, found.placed_after
    came = [(*here(*placed(e.row, e.column)), half * e.diameter_px) for e in found.appeared]
    left = [(*here(e.row, e.column), half * e.diameter_px) for e in found.vanished]
    lost = [(*here(row, column), half * area**0.5) for row, column, area in found.harm.lost]
    rings = [e for r, c, size in left for e in _ring(r, c, size + 4 * thick)]
    crosses = [e for r, c, size in came for e in _cross(r, c, size + 2 * thick, 8 * thick)]
    frames = [e for r, c, size in lost for e in _frame(r, c, size + 4 * thick)]
    _draw(first, rings, LEFT, thick)
    _draw(first, frames, LOST, thick)
    _draw(second, crosses, CAME, thick)
    return first, second


def side_by_side(first: NDArray[np.uint8], second: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Return both beside each other on white."""
    wide = first.shape[1] + GAP
    sheet = np.full((max(len(first), len(second)), wide + second.shape[1], 3), 255, np.uint8)
    sheet[: len(first), : first.shape[1]] = first
    sheet[: len(second), wide:] = second
    return sheet


def colour_map(found: Comparison) -> NDArray[np.uint8]:
    """Return how far the colour moved at each place: black not at all, white by ten or more.

    What was not looked at (spots, edges) is blue.
    """
    shift = found.harm.map
    drawn = np.full((*shift.shape, 3), (0, 0, 110), np.uint8)
    looked = np.isfinite(shift)
    drawn[looked] = _eight_bit(np.minimum(shift[looked] / 10, 1))[:, None]
    return drawn


def _eight_bit(picture: Any) -> NDArray[np.uint8]:
    return np.asarray((np.clip(picture, 0, 1) * 255).round(), np.uint8)


def _draw(sheet: Any, lines: list[tuple[Any, Any]], colour: Any, thick: int) -> None:
    """Draw lines in black of twice the width, and in colour upon it."""
    drawn = np.zeros(sheet.shape[:2], bool)
    for rows, columns in lines:
        r, c = np.round(rows).astype(int), np.round(columns).astype(int)
        inside = (r >= 0) & (r < drawn.shape[0]) & (c >= 0) & (c < drawn.shape[1])
        drawn[r[inside], c[inside]] = True
    for width, paint in ((2 * thick, (0, 0, 0)), (thick, colour)) if lines else ():
        sheet[ndimage.binary_dilation(drawn, np.ones((3, 3), bool), width)] = paint


def _ring(row: float, column: float, radius: float) -> Iterator[tuple[Any, Any]]:
    turn = np.linspace(0, 2 * np.pi, max(24, int(8 * radius)))
    yield row + radius * np.sin(turn), column + radius * np.cos(turn)


def _cross(row: float, column: float, free: float, arm: float) -> Iterator[tuple[Any, Any]]:
    """Yield four arms that leave the spot itself free."""
    along = np.linspace(free, free + arm, max(8, int(2 * arm))) / np.sqrt(2)
    for down in (-1, 1):
        for right in (-1, 1):
            yield row + down * along, column + right * along


def _frame(row: float, column: float, reach: float) -> Iterator[tuple[Any, Any]]:
    along = np.linspace(-reach, reach, max(12, int(3 * reach)))
    for side in (-reach, reach):
        yield row + along, np.full_like(along, column + side)
        yield np.full_like(along, row + side), column + along
