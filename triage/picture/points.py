"""Points of pictures: grey, shrunk, sampled, smoothed; work on two of them side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from triage.errors import TriageError

Out = TypeVar("Out")
Grey = NDArray[np.float32]
SAMPLE = 400_000  # points that tell what is usual
STRIPS, STRIP = 8, 128  # strips of rows that tell of the whole, and rows that are worked on at once


@contextmanager
def extra(work: str) -> Iterator[None]:
    """Name what is missing where the extra for pictures is not installed."""
    try:
        yield
    except ImportError as fault:
        raise TriageError(
            f"{work}: {fault.name} is missing", mend='install the extra "picture"'
        ) from None


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
    whole = np.pad(picture, [(0, -side % factor) for side in picture.shape], mode="edge")
    smooth = ndimage.gaussian_filter(shrunk(whole, factor), sigma / factor)
    return spread(smooth, factor, picture.shape)
