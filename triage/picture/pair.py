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

from triage.knowledge.judgement import PictureLimits
from triage.picture.changes import (
    Changes,
    Harm,
    Removal,
    Spot,
    changed_spots,
    evened,
    harm_between,
    removal_of,
)
from triage.picture.colour import Patch, in_light, light_of
from triage.picture.points import Grey, band, grey_of, of_both, sampled, shrunk, strips, white_of
from triage.picture.register import WORKING, CannotTell, Move, in_both, laid_over, registration

Picture = NDArray[Any]  # (rows, columns, 3): fractions, or whole numbers of 8 or 16 bits
VERSION = "pair-3"
STAGES = 5  # what is told of on the way, the reading among it
GLANCE = 640  # points on the longer side of a first answer
LIKE = 24  # side of the blocks, shrunk by two, by which both are told to be of one surface
EDGE = 6  # points at the edge of what both show that are not looked at


@dataclass(frozen=True, slots=True)
class Comparison:
    """What left and came, what stayed where it can be counted, harm; how well the pair fits.

    ``may_have_moved`` counts spots that left and came alike: they may be one that moved.
    ``by_patch``: colours are told against a reference patch, lightness too; else the surface itself
    evens the light, and an even change of its lightness stays unseen.
    """

    vanished: tuple[Spot, ...]
    appeared: tuple[Spot, ...]
    may_have_moved: int
    removal: Removal | None
    harm: Harm
    area_px: int
    likeness: float
    matrix: tuple[tuple[float, ...], ...]
    by_patch: bool = False
    version: str = VERSION

    @property
    def move(self) -> Move:
        """Return what leads from a place of the first picture to the second's."""
        return Move(np.array(self.matrix))

    def placed_after(self, row: float, column: float) -> tuple[float, float]:
        """Return where a place of the first picture lies in the second (row, column)."""
        right, down = self.move([[column, row]])[0]
        return float(down), float(right)


def glance(before: Picture, after: Picture, limits: PictureLimits) -> tuple[Comparison, Move]:
    """Compare both shrunk, blind to small spots; return also what ``compare`` needs not seek."""
    factor = -(-max(*before.shape, *after.shape) // GLANCE)
    found = compare(shrunk(before, factor), shrunk(after, factor), limits)
    return found, found.move.scaled(factor)


def compare(
    before: Picture, after: Picture, limits: PictureLimits, told: Callable[[str], object] = str,
    near: Move | None = None, patch: Patch | None = None,
) -> Comparison:  # fmt: skip
    """Compare two sRGB pictures, shape (rows, columns, 3).

    ``told`` hears what is done next, in words; ``near`` is what ``glance`` found; ``patch`` is one
    that both show, by which the light is evened.

    Raises
    ------
    CannotTell: clipped light, no common place, too little overlap, blur, another texture, a change
                wider than uneven light can be told from, a patch that cannot be read.
    """
    told("the light")
    for name, picture in (("first", before), ("second", after)):
        _refuse_clipped(name, picture, limits)
    told("laying one over the other")
    first, second = of_both(grey_of, before, after)
    move = registration(first, second, limits.most_misfit.value, near)
    inner = in_both(first.shape, move, second.shape, EDGE)
    gains = None
    if patch is not None:
        gains = light_of(patch, before, after, move, limits)
        left, top, wide, high = patch.before
        inner[top : top + high, left : left + wide] = False
    if inner.mean() < limits.least_overlap.value:
        raise CannotTell("the pictures overlap too little", mend="take the same field again")
    second = laid_over(second, move, first.shape)
    gain = evened(first, second, inner)
    second *= gain
    np.clip(second, 0, 1, out=second)
    light = shrunk(gain, -(-max(inner.shape) // WORKING))
    del gain
    _refuse_blur(first, second, inner, limits)
    likeness = _likeness(first, second, inner)
    if not likeness >= limits.least_likeness.value:
        raise CannotTell("the pictures do not show the same surface", mend="same field, same light")
    told("what changed")
    changes = changed_spots(first, second, inner, limits)
    told("colour and structure")
    colours = _colours(before, after, move, light if gains is None else gains, changes, inner)
    return Comparison(
        vanished=tuple(changes.vanished),
        appeared=tuple(changes.appeared),
        may_have_moved=_alike(changes),
        removal=removal_of(first, second, changes, inner, limits),
        harm=harm_between(first, second, colours, changes, inner, limits),
        area_px=int(inner.sum()),
        likeness=likeness,
        matrix=tuple(map(tuple, move.matrix.tolist())),
        by_patch=gains is not None,
    )


def _refuse_clipped(name: str, picture: Picture, limits: PictureLimits) -> None:
    white = white_of(picture)
    lightest = sampled(picture).max(axis=2)
    bright, dark = (lightest >= 0.998 * white).mean(), (lightest <= 0.002 * white).mean()
    if max(bright, dark) > limits.most_clipped.value:
        raise CannotTell(f"the {name} picture is clipped", mend="expose so that no light is lost")


def _refuse_blur(first: Grey, second: Grey, inner: Any, limits: PictureLimits) -> None:
    """Compare fine detail by a band that the noise of a camera hardly reaches."""

    def finest(picture: Grey) -> float:
        found = [
            np.abs(band(picture[each], 1.5, 3.0))[inner[each]][::5] for each in strips(len(inner))
        ]
        return float(np.percentile(np.concatenate(found), 90))

    detail = of_both(finest, first, second)
    if min(detail) < limits.most_blur.value * max(detail):
        raise CannotTell("one picture is blurred against the other", mend="focus both alike")


def _likeness(first: Grey, second: Grey, inner: Any) -> float:
    """Return the middle correlation of small blocks: what changed in a few counts little."""
    found = []
    for each in strips(len(inner)):
        pair = [_blocks(shrunk(picture[each], 2)) for picture in (first, second)]
        held = (_blocks(shrunk(inner[each], 2)) >= 1).all(axis=1)
        one, other = (blocks[held] - blocks[held].mean(axis=1, keepdims=True) for blocks in pair)
        size = np.sqrt((one**2).sum(axis=1) * (other**2).sum(axis=1))
        found.append((one * other).sum(axis=1) / np.maximum(size, 1e-9))
    all_of_them = np.concatenate(found)
    return float(np.median(all_of_them)) if all_of_them.size else 0.0


def _blocks(picture: Any) -> Any:
    rows, columns = (side // LIKE for side in picture.shape)
    held = picture[: rows * LIKE, : columns * LIKE].reshape(rows, LIKE, columns, LIKE)
    return held.swapaxes(1, 2).reshape(rows * columns, -1)


def _colours(
    before: Picture, after: Picture, move: Any, light: Any, changes: Changes, inner: Any
) -> tuple[Any, Any, Any]:
    """Return both in colour, shrunk where they are large, and where the surface itself shows.

    ``light`` is one gain at each place for all three colours, so that a change of colour stays to
    be seen, or what a patch says of each colour.
    """
    factor = -(-max(inner.shape) // WORKING)
    small, there = of_both(lambda each: shrunk(each, factor), before, after)
    smaller, shape = move.scaled(1 / factor), small.shape[:2]
    laid = np.stack(of_both(lambda n: laid_over(there[..., n], smaller, shape), *range(3)), axis=-1)
    laid = in_light(laid, light) if light.ndim == 1 else np.clip(laid * light[..., None], 0, 1)
    changed = changes.mask
    for box, inside in changes.patches:
        changed[box] |= inside
    here = shrunk(inner & ~changed, factor) >= 1.0
    return small, laid, ndimage.binary_erosion(here, None, 3)


def _alike(changes: Changes) -> int:
    """Return how many spots that left have one of their size that came, each told once."""
    free = sorted(spot.diameter_px for spot in changes.appeared)
    for size in sorted(spot.diameter_px for spot in changes.vanished):
        fits = next((each for each in free if 0.9 <= each / size <= 1.1), None)
        if fits is not None:
            free.remove(fits)
    return len(changes.appeared) - len(free)
