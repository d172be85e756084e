"""What a pass did to the surface itself: its colour, its gloss, and the structure that is gone."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy import ndimage

from triage.knowledge.judgement import PictureLimits
from triage.picture.changes import Changes
from triage.picture.colour import ciede2000, lab_from_srgb
from triage.picture.points import Grey, band, broad, of_both, shrunk

BAND = (1.0, 3.0)  # hairs, scales and edges lie between these two smoothings [points]
LONGEST = 3200  # points on the longer side in which structure is told
WINDOW = 8.0  # deviation [points] of the window in which structure is told
SPECK = 4  # what lies this near to a changed spot is not held against the surface [points]


@dataclass(frozen=True, slots=True)
class Harm:
    """Colour shift outside the changed spots, gloss before and after, and lost structure.

    ``lost`` holds (row, column, area in points) of each patch whose fine structure is gone, ``map``
    the shift at each place of the shrunk picture, nan where it was not looked at.
    """

    colour_median: float
    colour_95: float
    gloss_before: float
    gloss_after: float
    lost: tuple[tuple[float, float, int], ...]
    lost_share: float
    map: Any = field(default=None, repr=False, compare=False)


def harm_between(
    first: Grey, second: Grey, colours: tuple[Any, Any, Any], changes: Changes, inner: Any,
    limits: PictureLimits,
) -> Harm:  # fmt: skip
    """Return what the pass did to the surface outside of the spots that left or came.

    ``colours``: both in colour and where to look, in points that may be shrunk.
    """
    before, after, here = colours
    lab = [
        lab_from_srgb(ndimage.gaussian_filter(each, (2, 2, 0))[here]) for each in (before, after)
    ]
    moved = ciede2000(*lab)
    seen = np.full(here.shape, np.nan, np.float32)
    seen[here] = moved
    factor = -(-max(first.shape) // LONGEST)
    lost = _lost(first, second, changes, inner, limits, factor)
    numbers = range(1, int(lost.max()) + 1)
    middles = ndimage.center_of_mass(lost > 0, lost, numbers)
    areas = ndimage.sum_labels(lost > 0, lost, numbers)
    patches = [
        (factor * float(row), factor * float(column), int(factor**2 * area))
        for (row, column), area in zip(middles, areas, strict=True)
    ]
    middle, most = np.percentile(moved, (50, 95)).tolist()
    was, has = (float((each[inner] >= limits.gloss.value).mean()) for each in (first, second))
    share = float(factor**2 * sum(areas) / max(1, inner.sum()))
    return Harm(middle, most, was, has, tuple(patches), share, seen)


def _lost(
    first: Grey, second: Grey, changes: Changes, inner: Any, limits: PictureLimits, factor: int
) -> Any:
    """Return labels of the patches in which structure stood before and is gone after."""
    first, second = shrunk(first, factor), shrunk(second, factor)
    inner, left, came = (
        shrunk(each, factor) > 0 if factor > 1 else each
        for each in (inner, changes.left, changes.came)
    )
    left, came = (ndimage.binary_dilation(each, iterations=SPECK) for each in (left, came))
    weight = (inner & ~left & ~came).astype(np.float32)
    # The edge of a spot is no structure: where one lies, the picture without it stands for both.
    cleared = np.where(left, second, first), np.where(came & ~left, first, second)
    bands = of_both(lambda each: band(each, *BAND), *cleared)
    apart = (bands[0] - bands[1])[weight > 0]
    noise = float(np.median(apart**2)) / 0.9098  # two pictures; 0.4549 is the median of chi-square
    share = np.maximum(broad(weight, WINDOW), np.float32(1e-3))
    held = of_both(lambda each: broad(each**2 * weight, WINDOW) / share, *bands)
    stood, stands = (np.maximum(each - noise, 0) for each in held)
    structure = (stood > 6 * noise) & inner
    least = limits.lost_patch_px.value / factor**2
    if structure.sum() < least:
        return np.zeros(first.shape, int)
    usual = float(np.median(stands[structure] / stood[structure]))
    gone = structure & (stands < limits.lost_share.value * min(usual, 1.0) * stood) & (share > 0.2)
    labels, count = ndimage.label(ndimage.binary_opening(gone, iterations=2))
    areas = ndimage.sum_labels(labels > 0, labels, range(count + 1))
    return ndimage.label(np.isin(labels, np.flatnonzero(areas >= least)))[0]
