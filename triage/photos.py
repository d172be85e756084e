"""Photos as rows of colours for a terminal, where the library for pictures is installed."""

from __future__ import annotations

import warnings
from pathlib import Path
from typing import Any

from triage.errors import TriageError

Colour = tuple[int, int, int]
# One sign of the terminal shows two points, one above the other.
Row = tuple[tuple[Colour, Colour], ...]


def half_blocks(path: Path, columns: int, rows: int) -> tuple[Row, ...]:
    """Return a photo as rows of (upper, lower) colours, whole and in its own proportions.

    Parameters
    ----------
    path    the photo
    columns most signs in a row, >= 1
    rows    most rows, >= 1

    Raises
    ------
    TriageError: no library for pictures, or the file is no picture that can be read.
    """
    try:
        from PIL import Image, ImageOps  # noqa: PLC0415  (an optional extra)
    except ImportError:
        raise TriageError(
            "pictures cannot be drawn here", mend='install the extra "photos"'
        ) from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(path) as opened:
                opened.draft("RGB", (columns * 4, rows * 8))
                picture = ImageOps.exif_transpose(opened).convert("RGB")
                picture = ImageOps.contain(picture, (max(1, columns), max(2, rows * 2)))
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as fault:
        reason = "it is too large" if "bomb" in str(fault) else "it is no picture"
        raise TriageError(
            f'"{path.name}" cannot be drawn: {reason}', mend="open it in another program"
        ) from None
    return _rows(picture)


def _rows(picture: Any) -> tuple[Row, ...]:
    width, height = picture.size
    points = picture.load()
    return tuple(
        tuple((points[x, y], points[x, min(y + 1, height - 1)]) for x in range(width))
        for y in range(0, height, 2)
    )
