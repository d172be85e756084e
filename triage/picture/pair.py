"""Two photographs of one zone: brought over each other, then what left and what came.

Whatever cannot be told is refused with its reason; no share of removal is given, because what
stayed cannot be counted by a difference.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from triage.errors import TriageError
from triage.picture.colour import ciede2000, lab_from_srgb

Array = NDArray[np.float64]
VERSION = "pair-1"
FEATURES = 1500  # corners sought in each picture
LEAST_INLIERS = 20  # fewer agreeing corners are no proof of the same place
LEAST_OVERLAP = 0.6  # share of the first picture that the second must cover
LEAST_LIKENESS = 0.6  # correlation of the registered pair; another texture lies far below
MOST_BLUR = 0.6  # least ratio of fine detail between the two
MOST_CLIPPED = 0.02  # share of points at the end of the scale
LEAST_CONTRAST = 0.08  # a spot differs by at least this much of the scale ...
NOISES = 6.0  # ... and by this many robust deviations of the whole difference
MOST_PIXELS_WIDE = 25.0  # a wider change is no spot that this method can count
LEAST_PIXELS = 9  # below this area a difference may be noise


class CannotTell(TriageError):
    """The pair gives no answer; the message says why."""


@dataclass(frozen=True, slots=True)
class Spot:
    """One changed spot in the first picture's pixels, and its area-equivalent diameter."""

    row: float
    column: float
    diameter_px: float


@dataclass(frozen=True, slots=True)
class Comparison:
    """What left and what came; colour outside the changed spots; how well the pair fits."""

    vanished: tuple[Spot, ...]
    appeared: tuple[Spot, ...]
    area_px: int
    colour_median: float
    colour_95: float
    likeness: float
    turned_deg: float
    scale: float
    version: str = VERSION


def compare(before: Array, after: Array) -> Comparison:
    """Compare two sRGB pictures of 0 to 1, shape (rows, columns, 3).

    Raises
    ------
    CannotTell: clipped light, no common place, too little overlap, blur, another texture.
    TriageError: the extra for pictures is not installed.
    """
    for name, picture in (("first", before), ("second", after)):
        _refuse_clipped(name, picture)
    move = _registration(before.mean(axis=2), after.mean(axis=2))
    moved, covered = _laid_over(after, move, before.shape[:2])
    if covered.mean() < LEAST_OVERLAP:
        raise CannotTell("the pictures overlap too little", mend="take the same field again")
    inner = ndimage.binary_erosion(covered, iterations=6)
    gain = np.median(moved[inner], axis=0) / np.maximum(np.median(before[inner], axis=0), 1e-3)
    lit = np.clip(moved / gain.mean(), 0, 1)  # one gain: a change of colour must stay to be seen
    first, second = before.mean(axis=2), lit.mean(axis=2)
    _refuse_blur(first, second, inner)
    likeness = float(np.corrcoef(first[inner], second[inner])[0, 1])
    if not likeness >= LEAST_LIKENESS:
        raise CannotTell("the pictures do not show the same surface", mend="same field, same light")
    vanished, appeared, changed = _changed_spots(first, second, inner)
    kept = inner & ~ndimage.binary_dilation(changed, iterations=3)
    smooth = [ndimage.gaussian_filter(each, (3, 3, 0))[kept] for each in (before, lit)]
    moved_by = ciede2000(lab_from_srgb(smooth[0]), lab_from_srgb(smooth[1]))
    return Comparison(
        vanished=vanished,
        appeared=appeared,
        area_px=int(inner.sum()),
        colour_median=float(np.median(moved_by)),
        colour_95=float(np.percentile(moved_by, 95)),
        likeness=likeness,
        turned_deg=float(np.degrees(move.rotation)),
        scale=float(move.scale),
    )


def _refuse_clipped(name: str, picture: Array) -> None:
    ends = max(
        float((picture >= 0.998).any(axis=2).mean()), float((picture <= 0.002).all(2).mean())
    )
    if ends > MOST_CLIPPED:
        raise CannotTell(f"the {name} picture is clipped", mend="expose so that no light is lost")


def _registration(first: Array, second: Array) -> Any:
    """Return the similarity that leads from the first picture's points to the second's."""
    try:
        from skimage.feature import ORB, match_descriptors  # noqa: PLC0415  (an optional extra)
        from skimage.measure import ransac  # noqa: PLC0415
        from skimage.transform import SimilarityTransform  # noqa: PLC0415
    except ImportError:
        raise TriageError(
            "pictures cannot be compared here", mend='install the extra "picture"'
        ) from None
    found = []
    for picture in (first, second):
        seeker = ORB(n_keypoints=FEATURES, fast_threshold=0.03)
        try:
            seeker.detect_and_extract(ndimage.gaussian_filter(picture, 1.0))
        except (RuntimeError, IndexError, ValueError):
            raise CannotTell("there is too little detail to lay them over each other") from None
        found.append(seeker)
    pairs = match_descriptors(found[0].descriptors, found[1].descriptors, max_ratio=0.85)
    if len(pairs) < LEAST_INLIERS:
        raise CannotTell("no common place was found", mend="take the same field again")
    here = found[0].keypoints[pairs[:, 0]][:, ::-1]
    there = found[1].keypoints[pairs[:, 1]][:, ::-1]
    move, agreeing = ransac(
        (here, there),
        SimilarityTransform,
        min_samples=3,
        residual_threshold=2.0,
        max_trials=1500,
        rng=0,
    )
    if not move or agreeing is None or int(agreeing.sum()) < LEAST_INLIERS:
        raise CannotTell("no common place was found", mend="take the same field again")
    if not 0.8 < float(move.scale) < 1.25:
        raise CannotTell("the pictures have another scale or pose", mend="same set-up, same pose")
    return move


def _laid_over(picture: Array, move: Any, shape: tuple[int, int]) -> tuple[Array, Any]:
    from skimage.transform import warp  # noqa: PLC0415  (an optional extra)

    moved = warp(picture, move, output_shape=shape, order=3, mode="constant", cval=-1.0)
    covered = (moved >= 0).all(axis=2)
    return np.clip(moved, 0, 1), covered


def _refuse_blur(first: Array, second: Array, inner: Any) -> None:
    """Compare fine detail by a band that the noise of a camera hardly reaches."""
    detail = []
    for picture in (first, second):
        band = ndimage.gaussian_filter(picture, 1.5) - ndimage.gaussian_filter(picture, 3.0)
        detail.append(float(np.percentile(np.abs(band[inner]), 90)))
    if min(detail) < MOST_BLUR * max(detail):
        raise CannotTell("one picture is blurred against the other", mend="focus both alike")


def _refuse_large(difference: Array) -> None:
    """Refuse a change so large that evening out the light would break it into several."""
    labels, count = ndimage.label(np.abs(difference) > LEAST_CONTRAST)
    areas = ndimage.sum_labels(labels > 0, labels, range(1, count + 1))
    if count and 2 * np.sqrt(max(areas) / np.pi) > MOST_PIXELS_WIDE:
        raise CannotTell(
            f"a change is wider than {MOST_PIXELS_WIDE:g} points",
            mend="give smaller copies of both",
        )


def _half_way(difference: Array, seed: Any) -> Any:
    """Return the spot up to half of its own height, so that its size is not the threshold's."""
    height = float(np.median(difference[seed]))
    near = ndimage.binary_dilation(seed, iterations=3)
    tall = near & (difference * np.sign(height) >= abs(height) / 2)
    labels, _ = ndimage.label(tall)
    own = np.unique(labels[seed & tall])
    return np.isin(labels, own) & tall


def _changed_spots(first: Array, second: Array, inner: Any) -> tuple[Any, Any, Any]:
    """Return spots that left, spots that came, and where."""
    wide = 25.0  # uneven light changes over more than this many pixels
    # What only one picture covers is no difference, and must not reach in through the filters.
    difference = ndimage.gaussian_filter(np.where(inner, first - second, 0.0), 1.0)
    _refuse_large(difference)
    difference -= ndimage.gaussian_filter(difference, wide)
    noise = 1.4826 * float(np.median(np.abs(difference[inner])))
    changed = (np.abs(difference) > max(LEAST_CONTRAST, NOISES * noise)) & inner
    labels, _ = ndimage.label(ndimage.binary_opening(changed))
    left: list[Spot] = []
    came: list[Spot] = []
    for number, box in enumerate(ndimage.find_objects(labels), start=1):
        grown = tuple(slice(max(0, s.start - 8), s.stop + 8) for s in box)
        mask = _half_way(difference[grown], labels[grown] == number)
        ring = ndimage.binary_dilation(mask, iterations=7) & ~ndimage.binary_dilation(
            mask, iterations=3
        )
        area = int(mask.sum())
        if area < LEAST_PIXELS or not ring.any():
            continue
        middle = ndimage.center_of_mass(mask)
        spot = Spot(
            middle[0] + grown[0].start,
            middle[1] + grown[1].start,
            float(2 * np.sqrt(area / np.pi)),
        )
        stands = [
            abs(float(np.median(p[grown][mask]) - np.median(p[grown][ring])))
            for p in (first, second)
        ]
        (left if stands[0] > stands[1] else came).append(spot)
    return tuple(left), tuple(came), labels > 0
