"""What differs between two registered pictures: spots that went, came and stayed, and harm."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from scipy import ndimage

from triage.knowledge.judgement import PictureLimits
from triage.picture.points import Grey, band, broad, of_both, sampled, shrunk, spread, strips
from triage.picture.register import CannotTell

FINE = 1.0  # deviation [points] of the smoothing that tames the camera's noise
RING = (3, 7)  # a spot is held against what lies this far around it [points]
BLOCKS = 48  # blocks along the longer side by which uneven light is told
LEAST_BLOCK = 16
MOST_OF_BLOCK = 32  # points along a side of a block that are asked
WIDEST_BLOCKS = 3.0  # a change wider than this many blocks cannot be told from uneven light
CLOSE = 5  # changed fragments nearer than this belong to one patch [points]
FRAGMENTS = 8  # a patch of structure breaks into at least this many
MIXED = 0.2  # and its lighter and its darker share are both at least this

Patch = tuple[tuple[slice, ...], Any]  # a box of the picture, and what of it belongs to the patch


@dataclass(frozen=True, slots=True)
class Spot:
    """One changed spot in the first picture's points, and its area-equivalent diameter."""

    row: float
    column: float
    diameter_px: float


@dataclass(slots=True)
class Changes:
    """Spots that left and came, where each kind lies, and patches of changed structure.

    ``contrast`` is how far the spots stand out from what lies around them, their median.
    """

    vanished: list[Spot]
    appeared: list[Spot]
    left: Any
    came: Any
    contrast: float
    patches: list[Patch]

    @property
    def mask(self) -> Any:
        """Return where any spot lies."""
        return self.left | self.came


def block_of(shape: tuple[int, ...]) -> int:
    """Return the side of a block by which light is evened out [points]."""
    return max(LEAST_BLOCK, max(shape) // BLOCKS)


def evened(first: Grey, second: Grey, inner: Any) -> Grey:
    """Return by what the second picture has to be multiplied to stand in the first one's light.

    A block's gain is the median of its points, of which a large block gives some, and a median over
    5 x 5 blocks keeps what changed out of it.
    """
    block = block_of(first.shape)
    rows, columns = (side // block for side in first.shape)
    some = slice(None, None, -(-block // MOST_OF_BLOCK))

    def points(picture: Any) -> Any:
        blocks = picture[: rows * block, : columns * block].reshape(rows, block, columns, block)
        return blocks[:, some, :, some].swapaxes(1, 2).reshape(rows, columns, -1)

    ratio = np.log(np.maximum(points(first), 0.004) / np.maximum(points(second), 0.004))
    ratio[~points(inner)] = np.nan
    told = np.isfinite(ratio).mean(axis=2) > 0.5
    gains = np.full((rows, columns), np.nan)
    gains[told] = np.nanmedian(ratio[told], axis=1)
    whole = float(np.nanmedian(gains))
    field_ = ndimage.generic_filter(gains, _median, size=5, mode="nearest")
    field_ = ndimage.gaussian_filter(np.where(np.isfinite(field_), field_, whole), 1.0)
    return spread(np.exp(field_), block, first.shape)


def _median(values: Any) -> float:
    return float(np.nanmedian(values)) if np.isfinite(values).any() else float("nan")


def changed_spots(first: Grey, second: Grey, inner: Any, limits: PictureLimits) -> Changes:
    """Return what differs between two registered pictures in one light."""
    # What only one picture covers is no difference, and must not reach in through the filters.
    difference = ndimage.gaussian_filter(np.where(inner, first - second, np.float32(0)), FINE)
    doubt = _doubt(difference, first, second, inner)
    changed = (
        np.abs(difference) > np.maximum(limits.least_contrast.value, limits.noises.value * doubt)
    ) & inner
    changed = ndimage.binary_opening(changed)
    patches = _patches(difference, changed)
    for box, inside in patches:
        changed[box] &= ~inside
    labels, _ = ndimage.label(changed)
    left, came = np.zeros(changed.shape, bool), np.zeros(changed.shape, bool)
    found = Changes([], [], left, came, 0.0, patches)
    widest = WIDEST_BLOCKS * block_of(first.shape)
    heights = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        grown = tuple(slice(max(0, s.start - 8), s.stop + 8) for s in box)
        mask = _half_way(difference[grown], labels[grown] == number)
        area = int(mask.sum())
        around = ndimage.binary_dilation(mask, iterations=RING[1])
        ring = around & ~ndimage.binary_dilation(mask, iterations=RING[0])
        if area < limits.least_pixels.value or not ring.any():
            left[grown] |= mask
            continue
        diameter = float(2 * np.sqrt(area / np.pi))
        if diameter > widest:
            raise CannotTell(
                f"a change is wider than {widest:.0f} points", mend="take a wider field of it"
            )
        middle = ndimage.center_of_mass(mask)
        spot = Spot(middle[0] + grown[0].start, middle[1] + grown[1].start, diameter)
        stands = [
            abs(float(np.median(each[grown][mask]) - np.median(each[grown][ring])))
            for each in (first, second)
        ]
        heights.append(max(stands))
        is_gone = stands[0] > stands[1]
        (found.vanished if is_gone else found.appeared).append(spot)
        (left if is_gone else came)[grown] |= mask
    found.contrast = float(np.median(heights)) if heights else 0.0
    return found


def _doubt(difference: Grey, first: Grey, second: Grey, inner: Any) -> Any:
    """Return how far two pictures of the same thing may differ at each point.

    Noise everywhere, and at edges what remains of the move: in proportion to their slope.
    """
    slope = np.maximum(
        *of_both(lambda each: ndimage.gaussian_gradient_magnitude(each, FINE), first, second)
    )
    seen = sampled(inner)
    sample, slopes = np.abs(sampled(difference)[seen]), sampled(slope)[seen]
    calm = slopes <= np.percentile(slopes, 50)
    noise = 1.4826 * float(np.median(sample[calm]))
    steep = slopes >= np.percentile(slopes, 70)
    rest = np.sqrt(np.maximum(sample[steep] ** 2 - noise**2, 0))
    share = 1.4826 * float(np.median(rest / np.maximum(slopes[steep], 1e-4)))
    return np.hypot(noise, min(share, 0.3) * slope)


def _half_way(difference: Grey, seed: Any) -> Any:
    """Return the spot up to half of its own height, so that its size is not the threshold's."""
    height = float(np.median(difference[seed]))
    near = ndimage.binary_dilation(seed, iterations=3)
    tall = near & (difference * np.sign(height) >= abs(height) / 2)
    labels, _ = ndimage.label(tall)
    own = np.unique(labels[seed & tall])
    return np.isin(labels, own[own > 0]) & tall


def _patches(difference: Grey, changed: Any) -> list[Patch]:
    """Return where many small changes of both signs lie together: structure, not spots."""
    closed = ndimage.binary_closing(np.pad(changed, CLOSE), iterations=CLOSE)
    closed = closed[CLOSE:-CLOSE, CLOSE:-CLOSE]
    labels, _ = ndimage.label(closed)
    found = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        inside = labels[box] == number
        signs = np.sign(difference[box]) * (changed[box] & inside)
        fragments = ndimage.label(signs > 0)[1] + ndimage.label(signs < 0)[1]
        lighter, darker = int((signs > 0).sum()), int((signs < 0).sum())
        if fragments >= FRAGMENTS and min(lighter, darker) >= MIXED * (lighter + darker):
            found.append((box, inside))
    return found


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
    from scipy.stats import binomtest  # noqa: PLC0415  (slow to load)

    interval = binomtest(after, before + after).proportion_ci(CONFIDENCE)
    low, high = (float(each / (1 - each)) for each in interval)
    return 1 - after / before, 1 - high, 1 - low


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
    from skimage.color import deltaE_ciede2000, rgb2lab  # noqa: PLC0415  (of the extra)

    before, after, here = colours
    lab = [rgb2lab(ndimage.gaussian_filter(each, (2, 2, 0))[here]) for each in (before, after)]
    moved = deltaE_ciede2000(*lab)
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
