"""How one photograph lies over another: a move in the plane, and a picture laid over by it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from triage.picture.points import STRIP, Grey, of_both


@dataclass(frozen=True, slots=True)
class Move:
    """What leads from a place (x, y) of the first picture to the second's: x' = A x + b, (2, 3).

    Turn, shift and scale, and the slight shear of a surface that lies a little slanted.
    """

    matrix: NDArray[np.float64]

    def __call__(self, places: Any) -> Any:
        """Return where places lie, shape (n, 2)."""
        return np.asarray(places, float) @ self.matrix[:, :2].T + self.matrix[:, 2]

    @property
    def scales(self) -> tuple[float, float]:
        """Return the largest and the smallest scale of any direction."""
        largest, smallest = np.linalg.svd(self.matrix[:, :2], compute_uv=False)
        return float(largest), float(smallest)

    def scaled(self, factor: float) -> Move:
        """Return one between shrunk pictures as one between the whole ones."""
        middle = (factor - 1) / 2  # a block's middle lies between its points
        linear, shift = self.matrix[:, :2], self.matrix[:, 2]
        begin = factor * shift + middle - middle * linear.sum(axis=1)
        return Move(np.column_stack([linear, begin]))


def fitted(here: Any, there: Any) -> Move:
    """Return the move that leads from some places to others, by least squares, shape (n, 2)."""
    design = np.column_stack([here, np.ones(len(here))])
    solved, *_ = np.linalg.lstsq(design, np.asarray(there, float), rcond=None)
    return Move(solved.T)


def laid_over(picture: Grey, move: Move, shape: tuple[int, int]) -> Grey:
    """Return a picture in the first one's points; what it does not cover is black."""
    # Arrays count (row, column), the move (x, y).
    turn, begin = move.matrix[::-1, 1::-1], move.matrix[::-1, 2]
    splines = ndimage.spline_filter(picture, 3, output=np.float32)
    moved = np.zeros(shape, np.float32)

    def strip(rows: slice) -> None:
        ndimage.affine_transform(
            splines, turn, begin + turn[:, 0] * rows.start, output=moved[rows],
            output_shape=moved[rows].shape, order=3, mode="constant", prefilter=False,
        )  # fmt: skip

    of_both(strip, *(slice(top, top + STRIP) for top in range(0, shape[0], STRIP)))
    return np.clip(moved, 0, 1, out=moved)


def in_both(shape: tuple[int, int], move: Move, other: tuple[int, ...], edge: int) -> Any:
    """Return which points of the first picture both show, an edge of each left out [points]."""
    rows, columns = (np.arange(side, dtype=np.float32) for side in shape)
    inside = np.zeros(shape, bool)
    inside[edge : shape[0] - edge, edge : shape[1] - edge] = True
    for (right, down, begin), side in zip(move.matrix, other[1::-1], strict=True):
        for top in range(0, shape[0], STRIP):
            some = slice(top, top + STRIP)
            place = (down * rows[some, None] + begin).astype(np.float32) + right * columns
            inside[some] &= (place >= edge) & (place <= side - 1 - edge)
    return inside
