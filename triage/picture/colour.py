"""Colour on arrays: sRGB to CIELAB, the difference CIEDE2000, and light evened by a patch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from triage.knowledge.judgement import PictureLimits
from triage.picture.points import white_of
from triage.picture.register import CannotTell, Move

Array = NDArray[np.float64]
# IEC 61966-2-1 (sRGB) to XYZ, white D65; each row divided by the white in ``lab_from_srgb``.
TO_XYZ = np.array(
    [
        [0.4124564, 0.3575761, 0.1804375],
        [0.2126729, 0.7151522, 0.0721750],
        [0.0193339, 0.1191920, 0.9503041],
    ]
)


def linear_srgb(srgb: Array) -> Array:
    """Return sRGB values of 0 to 1 in proportion to the light (IEC 61966-2-1)."""
    linear: Array = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4)
    return linear


def encoded_srgb(linear: Array) -> Array:
    """Return values in proportion to the light, 0 to 1, as sRGB (IEC 61966-2-1)."""
    curved = 1.055 * np.maximum(linear, 0.0031308) ** (1 / 2.4) - 0.055
    encoded: Array = np.where(linear <= 0.0031308, 12.92 * linear, curved)
    return encoded


def lab_from_srgb(srgb: Array) -> Array:
    """Return CIELAB (D65) of sRGB values of 0 to 1, last axis three (CIE 15, from memory)."""
    share = linear_srgb(srgb) @ (TO_XYZ / TO_XYZ.sum(axis=1, keepdims=True)).T
    root = np.where(share > (6 / 29) ** 3, np.cbrt(share), share / (3 * (6 / 29) ** 2) + 4 / 29)
    x, y, z = np.moveaxis(root, -1, 0)
    return np.stack([116 * y - 16, 500 * (x - y), 200 * (y - z)], axis=-1)


def ciede2000(first: Array, second: Array) -> Array:
    """Return the colour difference of CIELAB values, last axis three.

    Source
    ------
    Sharma, Wu, Dalal: The CIEDE2000 color-difference formula, Color Res. Appl. 30 (2005) 21-30.
    """
    l1, a1, b1 = np.moveaxis(np.asarray(first, float), -1, 0)
    l2, a2, b2 = np.moveaxis(np.asarray(second, float), -1, 0)
    mean_chroma7 = ((np.hypot(a1, b1) + np.hypot(a2, b2)) / 2) ** 7
    stretch = 1.5 - 0.5 * np.sqrt(mean_chroma7 / (mean_chroma7 + 25.0**7))
    c1, c2 = np.hypot(a1 * stretch, b1), np.hypot(a2 * stretch, b2)
    h1 = np.degrees(np.arctan2(b1, a1 * stretch)) % 360
    h2 = np.degrees(np.arctan2(b2, a2 * stretch)) % 360
    is_grey = c1 * c2 == 0
    turn = h2 - h1
    turn = np.where(turn > 180, turn - 360, np.where(turn < -180, turn + 360, turn))
    turn = np.where(is_grey, 0, turn)
    hue_step = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn) / 2)
    total = h1 + h2
    is_far = np.abs(h1 - h2) > 180
    hue = np.where(is_far, np.where(total < 360, total + 360, total - 360), total) / 2
    hue = np.where(is_grey, total, hue)
    light, chroma = (l1 + l2) / 2, (c1 + c2) / 2
    waves = ((-0.17, 1, -30), (0.24, 2, 0), (0.32, 3, 6), (-0.20, 4, -63))
    by_hue = 1 + sum(share * np.cos(np.radians(n * hue + by)) for share, n, by in waves)
    off = (light - 50) ** 2
    d_light = (l2 - l1) / (1 + 0.015 * off / np.sqrt(20 + off))
    d_chroma = (c2 - c1) / (1 + 0.045 * chroma)
    d_hue = hue_step / (1 + 0.015 * chroma * by_hue)
    bend = 60 * np.exp(-(((hue - 275) / 25) ** 2))
    rotation = -2 * np.sqrt(chroma**7 / (chroma**7 + 25.0**7)) * np.sin(np.radians(bend))
    square = d_light**2 + d_chroma**2 + d_hue**2 + rotation * d_chroma * d_hue
    difference: Array = np.sqrt(np.maximum(square, 0))
    return difference


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
