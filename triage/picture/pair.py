"""Two photographs of one zone: what left, what came, what stayed, and whether it did harm.

Whatever cannot be told is refused with its reason, or left out with the reason beside it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from triage.picture.changes import Changes, Spot, changed_spots, evened
from triage.picture.harm import Harm, harm_between
from triage.picture.limits import Limits
from triage.picture.register import (
    WORKING,
    CannotTell,
    Grey,
    band,
    laid_over,
    of_both,
    registration,
    scaled,
    shrunk,
)
from triage.picture.stayed import Removal, removal_of

Picture = NDArray[np.float32]
VERSION = "pair-2"
STAGES = 4  # what is told of on the way
GLANCE = 900  # points on the longer side of a first answer
EDGE = 6  # points at the edge of what both show that are not looked at


@dataclass(frozen=True, slots=True)
class Comparison:
    """What left and came, what stayed where it can be counted, harm; how well the pair fits.

    ``may_have_moved`` counts spots that left and came alike: they may be one that moved.
    """

    vanished: tuple[Spot, ...]
    appeared: tuple[Spot, ...]
    may_have_moved: int
    removal: Removal | None
    harm: Harm
    area_px: int
    likeness: float
    turned_deg: float
    scale: float
    moved: tuple[float, float] = (0.0, 0.0)
    version: str = VERSION

    def placed_after(self, row: float, column: float) -> tuple[float, float]:
        """Return where a place of the first picture lies in the second (row, column)."""
        turn = np.radians(self.turned_deg)
        right, down = self.scale * np.cos(turn), self.scale * np.sin(turn)
        return (
            float(down * column + right * row + self.moved[1]),
            float(right * column - down * row + self.moved[0]),
        )


def glance(before: Picture, after: Picture, limits: Limits) -> Comparison:
    """Compare both shrunk: a first answer within a second or two, blind to small spots."""
    factor = -(-max(*before.shape, *after.shape) // GLANCE)
    return compare(shrunk(before, factor), shrunk(after, factor), limits)


def compare(
    before: Picture, after: Picture, limits: Limits, told: Callable[[str], object] = str
) -> Comparison:
    """Compare two sRGB pictures of 0 to 1, shape (rows, columns, 3).

    ``told`` hears what is done next, in words.

    Raises
    ------
    CannotTell: clipped light, no common place, too little overlap, blur, another texture, a change
                wider than uneven light can be told from.
    TriageError: the extra for pictures is not installed.
    """
    told("the light")
    for name, picture in (("first", before), ("second", after)):
        _refuse_clipped(name, picture, limits)
    first, second = (each.mean(axis=2, dtype=np.float32) for each in (before, after))
    told("laying one over the other")
    move = registration(first, second)
    second, covered = laid_over(second, move, first.shape)
    if covered.mean() < limits.least_overlap:
        raise CannotTell("the pictures overlap too little", mend="take the same field again")
    inner = ndimage.binary_erosion(covered, iterations=EDGE)
    gain = evened(first, second, covered)
    second = np.clip(second * gain, 0, 1)
    _refuse_blur(first, second, inner, limits)
    likeness = float(np.corrcoef(first[inner][::7], second[inner][::7])[0, 1])
    if not likeness >= limits.least_likeness:
        raise CannotTell("the pictures do not show the same surface", mend="same field, same light")
    told("what changed")
    changes = changed_spots(first, second, inner, limits)
    told("colour and structure")
    colours = _colours(before, after, move, gain, changes, inner)
    return Comparison(
        vanished=tuple(changes.vanished),
        appeared=tuple(changes.appeared),
        may_have_moved=_alike(changes),
        removal=removal_of(first, second, changes, inner, limits),
        harm=harm_between(first, second, colours, changes, inner, limits),
        area_px=int(inner.sum()),
        likeness=likeness,
        turned_deg=float(np.degrees(move.rotation)),
        scale=float(move.scale),
        moved=(float(move.translation[0]), float(move.translation[1])),
    )


def _refuse_clipped(name: str, picture: Picture, limits: Limits) -> None:
    bright = float((picture >= 0.998).any(axis=2).mean())
    dark = float((picture <= 0.002).all(axis=2).mean())
    if max(bright, dark) > limits.most_clipped:
        raise CannotTell(f"the {name} picture is clipped", mend="expose so that no light is lost")


def _refuse_blur(first: Grey, second: Grey, inner: Any, limits: Limits) -> None:
    """Compare fine detail by a band that the noise of a camera hardly reaches."""

    def finest(picture: Grey) -> float:
        return float(np.percentile(np.abs(band(picture, 1.5, 3.0)[inner][::5]), 90))

    detail = of_both(finest, first, second)
    if min(detail) < limits.most_blur * max(detail):
        raise CannotTell("one picture is blurred against the other", mend="focus both alike")


def _colours(
    before: Picture, after: Picture, move: Any, gain: Grey, changes: Changes, inner: Any
) -> tuple[Any, Any, Any]:
    """Return both in colour, shrunk where they are large, and where the surface itself shows.

    The light is evened by one gain for all three colours: a change of colour must stay to be seen.
    """
    factor = -(-max(inner.shape) // WORKING)
    small = shrunk(before, factor)
    there, light, shape = shrunk(after, factor), shrunk(gain, factor), small.shape[:2]
    smaller = scaled(move, 1 / factor) if factor > 1 else move
    laid = [
        np.clip(laid_over(there[..., each], smaller, shape)[0] * light, 0, 1) for each in range(3)
    ]
    changed = changes.mask
    for box, inside in changes.patches:
        changed[box] |= inside
    here = shrunk((inner & ~changed).astype(np.float32), factor) >= 1.0
    return small, np.stack(laid, axis=-1), ndimage.binary_erosion(here, None, 3)


def _alike(changes: Changes) -> int:
    """Return how many spots that left have one of their size that came, each told once."""
    free = sorted(spot.diameter_px for spot in changes.appeared)
    count = 0
    for spot in sorted(changes.vanished, key=lambda each: each.diameter_px):
        fits = [each for each in free if 0.9 <= each / spot.diameter_px <= 1.1]
        if fits:
            free.remove(fits[0])
            count += 1
    return count
