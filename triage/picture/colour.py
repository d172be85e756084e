"""Colour on arrays: sRGB and the light that it stands for, evened by a patch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.knowledge.judgement import PictureLimits
from triage.picture.points import white_of
from triage.picture.register import CannotTell, Move

Array = NDArray[np.float64]


def linear_srgb(srgb: Array) -> Array:
    """Return sRGB values of 0 to 1 in proportion to the light (IEC 61966-2-1)."""
    linear: Array = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return linear


def encoded_srgb(linear: Array) -> Array:
    """Return values in proportion to the light, 0 to 1, as sRGB (IEC 61966-2-1)."""
    curved = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    encoded: Array = np.where(linear <= 0.0031308, 12.92 * linear, curved)
    return encoded


LEAST = 8  # points along a side of a patch
INNER = 0.6  # of a patch that is found by the move alone this share is read, for it may be turned

Box = tuple[int, int, int, int]  # left, top, width, height [points]


@dataclass(frozen=True, slots=True)
class Patch:
    """Where the patch lies in the first photo, and in the second if it does not move with it."""

    before: Box
    after: Box | None = None


def light_of(patch: Patch, before: Any, after: Any, move: Move, limits: PictureLimits) -> Any:
    """Return by what each linear colour of the second has to be multiplied, shape (3,).

    Raises
    ------
    CannotTell: the patch lies outside, is too small, not even, clipped or dark in a photo.
    """
    there = patch.after
    if there is None:
        left, top, wide, high = patch.before
        middle = move([[left + (wide - 1) / 2, top + (high - 1) / 2]])[0]
        wide, high = round(INNER * wide), round(INNER * high)
        there = (round(middle[0] - wide / 2), round(middle[1] - high / 2), wide, high)
    was = _colour("first", before, patch.before, limits)
    return was / _colour("second", after, there, limits)


def in_light(picture: Any, gains: Any) -> Any:
    """Return an sRGB picture of 0 to 1 under light that is so much stronger."""
    return encoded_srgb(np.clip(linear_srgb(picture) * gains, 0, 1))


def _colour(name: str, picture: Any, box: Box, limits: PictureLimits) -> Any:
    left, top, wide, high = box
    rows, columns = picture.shape[:2]
    if min(left, top) < 0 or left + wide > columns or top + high > rows:
        raise CannotTell(
            f"the patch lies outside the {name} picture", mend="give left,top,width,height"
        )
    if min(wide, high) < LEAST:
        raise CannotTell(
            f"the patch is too small in the {name} picture", mend=f"at least {LEAST} points"
        )
    points = picture[top : top + high, left : left + wide].reshape(-1, 3) / white_of(picture)
    middle = np.median(points, axis=0)
    off = 1.4826 * np.median(np.abs(points - middle), axis=0)
    if (off > limits.patch_uneven.value * middle).any():
        raise CannotTell(f"the patch is not even in the {name} picture", mend="take its inner part")
    if middle.max() >= 0.99 or middle.min() <= 0.02:
        raise CannotTell(f"the patch is too light or too dark in the {name} picture")
    return linear_srgb(middle)
