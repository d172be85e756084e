"""Both photographs side by side, with what changed marked by shape: ring, cross, frame."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.picture.pair import Comparison, Picture

GAP = 8  # points between the two
LEFT, CAME, LOST = (0.0, 0.75, 1.0), (1.0, 0.55, 0.0), (1.0, 0.0, 0.6)


def marked(before: Picture, after: Picture, found: Comparison) -> NDArray[np.uint8]:
    """Return both beside each other: rings where a spot left, crosses where one came.

    A square frame stands where fine structure is gone. Marks are black and coloured lines, so that
    they show on any ground and to any eye.
    """
    rows = max(before.shape[0], after.shape[0])
    wide = before.shape[1] + GAP + after.shape[1]
    sheet = np.ones((rows, wide, 3), np.float32)
    sheet[: before.shape[0], : before.shape[1]] = before
    sheet[: after.shape[0], before.shape[1] + GAP :] = after
    thick = max(1, round(max(before.shape) / 1000))
    for spot in found.vanished:
        _draw(sheet, _ring(spot.row, spot.column, spot.diameter_px / 2 + 4 * thick), LEFT, thick)
    turned = before.shape[1] + GAP
    for spot in found.appeared:
        row, column = found.placed_after(spot.row, spot.column)
        arms = _cross(row, column + turned, spot.diameter_px / 2 + 2 * thick, 8 * thick)
        _draw(sheet, arms, CAME, thick)
    for row, column, area in found.harm.lost:
        _draw(sheet, _frame(row, column, np.sqrt(area) / 2 + 4 * thick), LOST, thick)
    return (np.clip(sheet, 0, 1) * 255).round().astype(np.uint8)


def _draw(sheet: Any, points: Iterator[tuple[Any, Any]], colour: Any, thick: int) -> None:
    """Draw points as dots: a dark one of twice the width, a coloured one upon it."""
    held = list(points)
    for width, paint in ((2 * thick, (0.0, 0.0, 0.0)), (thick, colour)):
        for rows, columns in held:
            for down in range(-width, width + 1):
                for right in range(-width, width + 1):
                    r, c = np.round(rows + down).astype(int), np.round(columns + right).astype(int)
                    inside = (r >= 0) & (r < sheet.shape[0]) & (c >= 0) & (c < sheet.shape[1])
                    sheet[r[inside], c[inside]] = paint


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
