"""Both photographs side by side, with what changed marked by shape: ring, cross, frame."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from triage.picture.pair import Comparison, Picture
from triage.picture.points import shrunk

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
