"""The second photograph laid over the first: a move by corners, then a finer one by tiles."""

from __future__ import annotations

import warnings
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from triage.errors import TriageError
from triage.picture.points import STRIP, Grey, extra, of_both, shrunk


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


FEATURES = 1500  # corners sought in each picture
CONTRASTS = 0.06, 0.03  # of corners: the fainter ones only where few stand out, they take time
LEAST_INLIERS = 20  # fewer agreeing corners are no proof of the same place
OCTAVES = 3  # sizes in which they are sought; two photos of one set-up differ little in scale
WORKING = 900  # points on the longer side in which corners are sought
CLEARLY = 0.85  # a corner is unlike its fellow by less than this share of the next one
NEAR, NEARER = 4.0, 2.0  # corners agree when they lie this near, first and at the end [points]
SCALES = (0.8, 1.25)  # another scale is another set-up
SLANT = 1.04  # one direction stretched against the other by more is another pose
TILE = 128  # side of a tile of the finer fit
TILES = 6  # tiles along a side, at most
UNLIKE = 0.7  # a tile that correlates by less than this, squared and taken from one, says nothing
LEAST_TILES = 6  # fewer tiles do not tell more than the corners
FURTHEST = 4.0  # the finer fit moves no tile by more than this many points


class CannotTell(TriageError):
    """The pair gives no answer; the message says why."""


def registration(first: Grey, second: Grey, most_misfit: float, near: Move | None = None) -> Move:
    """Return what leads from the first picture's points to the second's; CannotTell if nothing.

    ``near`` is one that is roughly right, as from both shrunk; without it corners are sought. Where
    the middle tile still lies off by more than ``most_misfit`` points no move of the whole does.
    """
    factor = -(-max(*first.shape, *second.shape) // WORKING)
    move = near
    if move is None:
        move = _by_corners(shrunk(first, factor), shrunk(second, factor)).scaled(factor)
    for level in (each for each in (9, 3, 1, 1) if each <= factor):
        finer = _finer(shrunk(first, level), shrunk(second, level), move.scaled(1 / level))
        move = finer.scaled(level)
    off = [float(np.hypot(*shift)) for _, shift in _tile_shifts(first, second, move)]
    if off and float(np.median(off)) > most_misfit:
        raise CannotTell("the specimen lies in another pose", mend="same pose, same direction")
    return move


def _by_corners(first: Grey, second: Grey) -> Any:
    with extra("pictures cannot be compared here"):
        from skimage.feature import ORB, match_descriptors  # noqa: PLC0415
        from skimage.measure import ransac  # noqa: PLC0415
        from skimage.transform import SimilarityTransform  # noqa: PLC0415

    def sought(picture: Grey) -> Any:
        calmed = ndimage.gaussian_filter(picture, 1.0)
        for contrast in CONTRASTS:
            seeker = ORB(n_keypoints=FEATURES, fast_threshold=contrast, n_scales=OCTAVES)
            with suppress(RuntimeError, IndexError, ValueError):  # it found none
                seeker.detect_and_extract(calmed)
                if len(seeker.keypoints) >= FEATURES / 2 or contrast == CONTRASTS[-1]:
                    return seeker
        raise CannotTell("there is too little detail to lay them over each other")

    found = of_both(sought, first, second)
    described = (each.descriptors for each in found)
    pairs = match_descriptors(*described, metric="hamming", max_ratio=CLEARLY)
    if len(pairs) < LEAST_INLIERS:
        raise CannotTell("no common place was found", mend="take the same field again")
    here = found[0].keypoints[pairs[:, 0]][:, ::-1]
    there = found[1].keypoints[pairs[:, 1]][:, ::-1]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns where it fails; the failure is told below
        rough, agreeing = ransac(
            (here, there), SimilarityTransform, min_samples=3, residual_threshold=NEAR,
            max_trials=1500, stop_probability=0.999999, rng=0,
        )  # fmt: skip
    kept = agreeing if rough and agreeing is not None else np.zeros(len(here), bool)
    for within in (NEAR, NEARER, NEARER):
        if kept.sum() < LEAST_INLIERS:
            raise CannotTell("no common place was found", mend="take the same field again")
        move = fitted(here[kept], there[kept])
        kept = np.hypot(*(there - move(here)).T) <= within
    largest, smallest = move.scales
    if not (SCALES[0] < smallest and largest < SCALES[1] and largest < SLANT * smallest):
        raise CannotTell("the pictures have another scale or pose", mend="same set-up, same pose")
    return move


def _finer(first: Grey, second: Grey, move: Move) -> Move:
    """Return the move bettered by what tiles of both pictures say, the middle trusted most."""
    near = [each for each in _tile_shifts(first, second, move) if np.hypot(*each[1]) <= FURTHEST]
    if len(near) < LEAST_TILES:
        return move
    here, shifts = (np.array(each) for each in zip(*near, strict=True))
    there, kept = move(here + shifts), np.ones(len(here), bool)
    for _ in range(3):
        finer = fitted(here[kept], there[kept])
        off = np.hypot(*(there - finer(here)).T)
        nearer = off <= max(0.5, 2.5 * float(np.median(off)))
        if nearer.sum() < LEAST_TILES:
            return move
        kept = nearer
    return fitted(here[kept], there[kept])


def _tile_shifts(
    first: Grey, second: Grey, move: Move
) -> Iterator[tuple[tuple[float, float], Any]]:
    """Yield the middle (x, y) of a tile, and by how much the second lies off there (x, y)."""
    from skimage.registration import phase_cross_correlation  # noqa: PLC0415

    rows, columns = first.shape
    for top in _starts(rows):
        for left in _starts(columns):
            tile = first[top : top + TILE, left : left + TILE]
            over = _tile_of(second, move, top, left, tile.shape)
            if over is None:
                continue
            window = np.outer(np.hanning(tile.shape[0]), np.hanning(tile.shape[1]))
            shift, unlike, _ = phase_cross_correlation(
                (over - over.mean()) * window, (tile - tile.mean()) * window,
                upsample_factor=20, normalization=None,
            )  # fmt: skip
            if unlike <= UNLIKE:
                middle = (left + (tile.shape[1] - 1) / 2, top + (tile.shape[0] - 1) / 2)
                yield middle, shift[::-1]


def _starts(side: int) -> list[int]:
    if side <= TILE:
        return [0]
    count = min(TILES, max(2, side // TILE))
    return [int(each) for each in np.linspace(0, side - TILE, count)]


def _tile_of(second: Grey, move: Move, top: int, left: int, shape: tuple[int, int]) -> Any:
    """Return the second picture's tile at this place of the first, None where it is not covered."""
    right, low = left + shape[1] - 1, top + shape[0] - 1
    corners = move([[left, top], [right, top], [left, low], [right, low]])
    if corners.min() < 0 or (corners > np.array(second.shape[::-1]) - 1).any():
        return None
    x0, y0 = np.maximum(np.floor(corners.min(axis=0)).astype(int) - 4, 0)
    x1, y1 = np.ceil(corners.max(axis=0)).astype(int) + 5
    begin = move([[left, top]])[0] - (x0, y0)
    here = Move(np.column_stack([move.matrix[:, :2], begin]))
    return laid_over(second[y0:y1, x0:x1], here, shape)
