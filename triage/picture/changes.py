"""Spots that differ between two registered pictures: found, measured, and said which way."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy import ndimage

from triage.knowledge.judgement import PictureLimits
from triage.picture.points import Grey, of_both, sampled, spread
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
