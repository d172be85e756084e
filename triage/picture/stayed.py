"""How much a pass took off, where what stayed can be counted too."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import ndimage

from triage.knowledge.judgement import PictureLimits
from triage.picture.changes import Changes
from triage.picture.points import Grey, broad, of_both, strips

CONFIDENCE = 0.95
FAINT, CLEAR = 0.25, 0.6  # shares of the usual contrast of a spot: seen at all, and counted


@dataclass(frozen=True, slots=True)
class Removal:
    """Share of the spots that is gone, with the ends of its interval; counts before and after."""

    share: float
    low: float
    high: float
    before: int
    after: int
    stayed: int


def removal_share(before: int, after: int) -> tuple[float, float, float]:
    """Return 1 - after/before and its 95 % interval, both counts taken as Poisson.

    The ratio of two Poisson rates by the exact conditional interval: given both together, the
    second count is binomial (Przyborowski and Wilenski 1940, Biometrika 31:313).
    """
    from scipy.stats import beta  # noqa: PLC0415  (slow to load)

    tail = (1 - CONFIDENCE) / 2
    low = float(beta.ppf(tail, after, before + 1)) if after else 0.0
    high = float(beta.ppf(1 - tail, after + 1, before))
    ratio = [each / (1 - each) for each in (low, high)]
    return 1 - after / before, 1 - ratio[1], 1 - ratio[0]


def _relief(picture: Grey, wide: float) -> Any:
    return ndimage.gaussian_filter(picture, 1.0) - broad(picture, wide)


def removal_of(
    first: Grey, second: Grey, changes: Changes, inner: Any, limits: PictureLimits
) -> Removal | None:
    """Return how much was taken off; None where what stayed cannot be told from the surface.

    What stayed is counted only where the surface is calm against the spots: a spot must stand out
    by ``countable`` times the surface's own relief.
    """
    if not changes.vanished or changes.patches:
        return None
    widest = max(spot.diameter_px for spot in (*changes.vanished, *changes.appeared))
    wide = max(8.0, 1.5 * widest)
    calm = inner & ~ndimage.binary_dilation(changes.mask, iterations=int(wide))
    some = [np.abs(_relief(second[each], wide))[calm[each]] for each in strips(len(calm))]
    heights = np.concatenate(some)
    if not heights.size:
        return None
    quiet = 1.4826 * float(np.median(heights))
    if changes.contrast < limits.countable.value * quiet:
        return None
    relief = of_both(lambda each: _relief(each, wide), first, second)
    near = ndimage.binary_dilation(changes.mask, iterations=3)
    height = np.where(np.sign(relief[0]) == np.sign(relief[1]), np.minimum(*np.abs(relief)), 0)
    low = max(FAINT * changes.contrast, 4 * quiet)
    labels, count = ndimage.label(ndimage.binary_opening((height > low) & inner & ~near))
    numbers = range(1, count + 1)
    areas = np.asarray(ndimage.sum_labels(labels > 0, labels, numbers))
    tops = np.asarray(ndimage.maximum(height, labels, numbers))
    large = tops[areas >= limits.least_pixels.value]
    stayed = int((large >= CLEAR * changes.contrast).sum())
    # Much that is nearly a spot is the surface's own relief, and some of it passes for a spot.
    if len(large) - stayed > 1 + stayed / 5:
        return None
    had, has = len(changes.vanished) + stayed, len(changes.appeared) + stayed
    share, low, high = removal_share(had, has)
    return Removal(share, low, high, had, has, stayed)
