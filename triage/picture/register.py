"""The second photograph laid over the first: corners, a robust similarity, then a finer fit."""

from __future__ import annotations

import warnings
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from triage.errors import TriageError

Out = TypeVar("Out")
Grey = NDArray[np.float32]
FEATURES = 1500  # corners sought in each picture
LEAST_INLIERS = 20  # fewer agreeing corners are no proof of the same place
OCTAVES = 3  # sizes in which they are sought; two photos of one set-up differ little in scale
WORKING = 900  # points on the longer side in which corners are sought
SAMPLE = 400_000  # points that tell what is usual
STRIPS, STRIP = 8, 128  # strips of rows that tell of the whole, and rows that are worked on at once
TILE = 128  # side of a tile of the finer fit
TILES = 6  # tiles along a side, at most
FURTHEST = 4.0  # the finer fit moves no tile by more than this many points


class CannotTell(TriageError):
    """The pair gives no answer; the message says why."""


def of_both(work: Callable[[Any], Out], *each: Any) -> list[Out]:
    """Return what some work makes of each picture; filters of arrays run two side by side."""
    with ThreadPoolExecutor(2) as pool:
        return list(pool.map(work, each))


def sampled(picture: Any) -> Any:
    """Return every so many points of a large picture, enough to tell what is usual."""
    some = slice(None, None, max(1, int(np.sqrt(picture.shape[0] * picture.shape[1] / SAMPLE))))
    return picture[some, some]


def strips(rows: int) -> list[slice]:
    """Return some strips of a large picture, enough to tell how sharp or lively it is; or all."""
    if rows <= STRIPS * STRIP:
        return [slice(0, rows)]
    tops = np.linspace(0, rows - STRIP, STRIPS).astype(int)
    return [slice(top, top + STRIP) for top in tops.tolist()]


def white_of(picture: Any) -> float:
    """Return what full light is: 1 for a picture of fractions, else the end of its scale."""
    return float(np.iinfo(picture.dtype).max) if picture.dtype.kind == "u" else 1.0


def grey_of(picture: Any) -> Grey:
    """Return the mean of the three colours, 0 to 1."""
    grey: Grey = picture[..., 0].astype(np.float32)
    for each in (1, 2):
        grey += picture[..., each]
    grey *= np.float32(1 / (3 * white_of(picture)))
    return grey


def shrunk(picture: Any, factor: int) -> Any:
    """Return a picture of 0 to 1, blocks of factor x factor points averaged, the rest cut off."""
    rows, columns = (side // factor for side in picture.shape[:2])
    part = picture[: rows * factor, : columns * factor]
    if factor > 1:  # whole rows are added first: they lie together in memory
        part = part.reshape(rows, factor, columns * factor, *part.shape[2:])
        part = part.sum(axis=1, dtype=np.float32)
        part = part.reshape(rows, columns, factor, *part.shape[2:]).sum(axis=2)
    scale = np.float32(1 / (factor**2 * white_of(picture)))
    return part if scale == 1 else part * scale


def band(picture: Grey, fine: float, coarse: float) -> Any:
    """Return what lies between two smoothings [points]."""
    return ndimage.gaussian_filter(picture, fine) - ndimage.gaussian_filter(picture, coarse)


def spread(blocks: Any, block: int, shape: tuple[int, ...]) -> Grey:
    """Return one value for each block at every point, between the middles by straight lines."""
    made = np.asarray(blocks, np.float32)
    for axis, side in enumerate(shape[:2]):
        middles = (np.arange(side, dtype=np.float32) - np.float32((block - 1) / 2)) / block
        held = np.clip(middles, 0, made.shape[axis] - 1)
        low = np.minimum(held.astype(int), max(0, made.shape[axis] - 2))
        high = np.minimum(low + 1, made.shape[axis] - 1)
        share = (held - low).astype(np.float32)
        share = share.reshape([-1 if each == axis else 1 for each in range(2)])
        over = np.take(made, high, axis)
        made = np.take(made, low, axis)
        over -= made
        over *= share
        made += over
    return made


def broad(picture: Any, sigma: float) -> Grey:
    """Return a wide smoothing, worked out on a shrunk picture: the same, and fast."""
    factor = max(1, int(sigma // 4))
    shape = picture.shape
    short = [-side % factor for side in shape]
    if any(short):
        picture = np.pad(picture, [(0, each) for each in short], mode="edge")
    return spread(ndimage.gaussian_filter(shrunk(picture, factor), sigma / factor), factor, shape)


def registration(first: Grey, second: Grey, near: Any = None) -> Any:
    """Return the similarity that leads from the first picture's points (x, y) to the second's.

    ``near`` is one that is roughly right, as from both shrunk; without it corners are sought.

    Raises
    ------
    CannotTell: too little detail, no common place, another scale.
    TriageError: the extra for pictures is not installed.
    """
    factor = -(-max(*first.shape, *second.shape) // WORKING)
    move = near
    if move is None:
        move = scaled(_by_corners(*(shrunk(each, factor) for each in (first, second))), factor)
    for level in (each for each in (9, 3, 1, 1) if each <= factor):
        smaller = scaled(move, 1 / level)
        finer = _finer(shrunk(first, level), shrunk(second, level), smaller)
        move = scaled(finer, level)
    return move


def laid_over(picture: Grey, move: Any, shape: tuple[int, int]) -> Grey:
    """Return a picture in the first one's points; what it does not cover is black."""
    matrix = np.asarray(move.params)[:2]
    # Arrays count (row, column), the similarity (x, y).
    turn, begin = matrix[::-1, 1::-1], matrix[::-1, 2]
    splines = ndimage.spline_filter(picture, 3, output=np.float32)
    moved = np.zeros(shape, np.float32)

    def strip(rows: slice) -> None:
        ndimage.affine_transform(
            splines, turn, begin + turn[:, 0] * rows.start, output=moved[rows],
            output_shape=moved[rows].shape, order=3, mode="constant", prefilter=False,
        )  # fmt: skip

    of_both(strip, *(slice(top, top + STRIP) for top in range(0, shape[0], STRIP)))
    return np.clip(moved, 0, 1, out=moved)


def in_both(shape: tuple[int, int], move: Any, other: tuple[int, ...], edge: int) -> Any:
    """Return which points of the first picture both show, an edge of each left out [points]."""
    rows, columns = (np.arange(side, dtype=np.float32) for side in shape)
    inside = np.zeros(shape, bool)
    inside[edge : shape[0] - edge, edge : shape[1] - edge] = True
    for (right, down, begin), side in zip(np.asarray(move.params)[:2], other[1::-1], strict=True):
        for top in range(0, shape[0], STRIP):
            some = slice(top, top + STRIP)
            place = (down * rows[some, None] + begin).astype(np.float32) + right * columns
            inside[some] &= (place >= edge) & (place <= side - 1 - edge)
    return inside


def _by_corners(first: Grey, second: Grey) -> Any:
    try:
        from skimage.feature import ORB, match_descriptors  # noqa: PLC0415  (an optional extra)
        from skimage.measure import ransac  # noqa: PLC0415
        from skimage.transform import SimilarityTransform  # noqa: PLC0415
    except ImportError:
        raise TriageError(
            "pictures cannot be compared here", mend='install the extra "picture"'
        ) from None

    def sought(picture: Grey) -> Any:
        seeker = ORB(n_keypoints=FEATURES, fast_threshold=0.03, n_scales=OCTAVES)
        try:
            seeker.detect_and_extract(ndimage.gaussian_filter(picture, 1.0))
        except (RuntimeError, IndexError, ValueError):
            raise CannotTell("there is too little detail to lay them over each other") from None
        return seeker

    found = of_both(sought, first, second)
    pairs = match_descriptors(found[0].descriptors, found[1].descriptors, max_ratio=0.85)
    if len(pairs) < LEAST_INLIERS:
        raise CannotTell("no common place was found", mend="take the same field again")
    here = found[0].keypoints[pairs[:, 0]][:, ::-1]
    there = found[1].keypoints[pairs[:, 1]][:, ::-1]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # it warns where it fails; the failure is told below
        move, agreeing = ransac(
            (here, there), SimilarityTransform, min_samples=3, residual_threshold=2.0,
            max_trials=1500, stop_probability=0.999999, rng=0,
        )  # fmt: skip
    if not move or agreeing is None or int(agreeing.sum()) < LEAST_INLIERS:
        raise CannotTell("no common place was found", mend="take the same field again")
    if not 0.8 < float(move.scale) < 1.25:
        raise CannotTell("the pictures have another scale or pose", mend="same set-up, same pose")
    return move


def similarity(scale: float, rotation: float, translation: Any) -> Any:
    """Return a similarity of a scale, a rotation [radians] and a shift (x, y)."""
    from skimage.transform import SimilarityTransform  # noqa: PLC0415

    return SimilarityTransform(scale=scale, rotation=rotation, translation=translation)


def scaled(move: Any, factor: float) -> Any:
    """Return a similarity between shrunk pictures as one between the whole ones."""
    if factor == 1:
        return move
    middle = (factor - 1) / 2  # a block's middle lies between its points
    shrink = similarity(1 / factor, 0.0, (-middle / factor,) * 2)
    grow = similarity(factor, 0.0, (middle, middle))
    return shrink + move + grow


def _finer(first: Grey, second: Grey, move: Any) -> Any:
    """Return the similarity moved by what tiles of both pictures say, their median trusted most."""
    from skimage.transform import SimilarityTransform  # noqa: PLC0415

    here, there = [], []
    for middle, shift in _tile_shifts(first, second, move):
        here.append(middle)
        there.append(move(np.array([middle]) + shift)[0])
    if len(here) < 3:
        return move
    residual = np.array(there) - move(np.array(here))
    off = np.hypot(*(residual - np.median(residual, axis=0)).T)
    kept = off <= max(0.5, 2.5 * float(np.median(off)))
    if kept.sum() < 3:
        return move
    finer = SimilarityTransform.from_estimate(np.array(here)[kept], np.array(there)[kept])
    return finer or move


def _tile_shifts(first: Grey, second: Grey, move: Any) -> Iterator[tuple[tuple[float, float], Any]]:
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
            shift, *_ = phase_cross_correlation(
                (over - over.mean()) * window, (tile - tile.mean()) * window,
                upsample_factor=20, normalization=None,
            )  # fmt: skip
            if np.hypot(*shift) <= FURTHEST:
                middle = (left + (tile.shape[1] - 1) / 2, top + (tile.shape[0] - 1) / 2)
                yield middle, shift[::-1]


def _starts(side: int) -> list[int]:
    if side <= TILE:
        return [0]
    count = min(TILES, max(2, side // TILE))
    return [int(each) for each in np.linspace(0, side - TILE, count)]


def _tile_of(second: Grey, move: Any, top: int, left: int, shape: tuple[int, ...]) -> Any:
    """Return the second picture's tile at this place of the first, None where it is not covered."""
    rows, columns = np.mgrid[top : top + shape[0], left : left + shape[1]]
    places = move(np.column_stack([columns.ravel(), rows.ravel()]))
    inside = (places >= 0).all(axis=1) & (places[:, 0] <= second.shape[1] - 1)
    inside &= places[:, 1] <= second.shape[0] - 1
    if not inside.all():
        return None
    x0, y0 = np.maximum(np.floor(places.min(axis=0)).astype(int) - 4, 0)
    x1, y1 = np.ceil(places.max(axis=0)).astype(int) + 5
    part = second[y0:y1, x0:x1]
    return ndimage.map_coordinates(
        part, [places[:, 1] - y0, places[:, 0] - x0], order=3, mode="nearest"
    ).reshape(shape)
