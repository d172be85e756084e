"""Two photos of one pass: read, compared and told, for every face in the same way."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from triage.errors import OutOfRange, TriageError
from triage.knowledge.book import Knowledge
from triage.knowledge.judgement import PictureLimits
from triage.picture.colour import Box, Patch
from triage.picture.files import marked, png_of, read_both, side_by_side
from triage.picture.pair import GLANCE, Comparison, Picture, compare, glance
from triage.picture.register import CannotTell
from triage.show.blocks import Line
from triage.show.compared import compared_blocks


@dataclass(frozen=True, slots=True)
class Measured:
    """What two photos tell; ``um_per_px`` is the size of a point on the specimen, if known."""

    before: Picture
    after: Picture
    found: Comparison
    limits: PictureLimits
    um_per_px: float | None = None

    def lines(self) -> tuple[Line, ...]:
        """Return what it says in words."""
        return tuple(compared_blocks(self.found, self.limits, self.um_per_px))

    def figures(self, marked_as: str | None = None) -> dict[str, Any]:
        """Return what is kept with an attempt: plain numbers, with the method that made them.

        ``marked_as`` is where both photos stand with their marks.
        """
        harm, removal = self.found.harm, self.found.removal
        kept: dict[str, Any] = {
            "method": self.found.version,
            "left": len(self.found.vanished),
            "came": len(self.found.appeared),
            "colour_median": round(harm.colour_median, 2),
            "colour_95": round(harm.colour_95, 2),
            "lost_share": round(harm.lost_share, 4),
            "gloss_before": round(harm.gloss_before, 5),
            "gloss_after": round(harm.gloss_after, 5),
            "light": "by a patch" if self.found.by_patch else "by the surface",
        }
        if removal is not None:
            ends = (removal.share, removal.low, removal.high)
            kept |= {"stayed": removal.stayed, "removed": [round(each, 3) for each in ends]}
        if self.um_per_px is not None:
            kept["um_per_pixel"] = self.um_per_px
        if marked_as is not None:
            kept["marked"] = marked_as
        return kept

    def marked_png(self, longest: int = 2400) -> bytes:
        """Return both side by side, changes marked, as a PNG file; see ``marked``."""
        return png_of(side_by_side(*self.marked(longest)))

    def marked(self, longest: int) -> tuple[Any, Any]:
        """Return each photo with its marks, so many points along the longer side at most."""
        return marked(self.before, self.after, self.found, longest)


def measured(
    knowledge: Knowledge,
    photos: tuple[Path, Path],
    *,
    patch: Patch | None = None,
    told: Callable[[str], object] = str,
    glanced: Callable[[str], object] | None = None,
) -> Measured:
    """Return what the photos before and after a pass tell.

    ``told`` hears what is done next; ``glanced`` what a first look at large photos shows.

    Raises
    ------
    CannotTell: the pair gives no answer; the message says why.
    TriageError: a photo that cannot be read, the extra is not installed.
    """
    limits = knowledge.judgement.picture
    told("reading the photos")
    first, second, factor = read_both(*photos, GLANCE if glanced else None)
    near = None
    if glanced is not None and factor * max(*first.shape, *second.shape) > 2 * GLANCE:
        try:
            seen, move = glance(first, second, limits)
            near = move.scaled(factor)
            left, came = len(seen.vanished), len(seen.appeared)
            glanced(f"at a glance: {left} larger spots left, {came} came")
        except CannotTell as fault:
            glanced(f"at a glance: {fault.line()}")
    if factor > 1:
        first, second, _ = read_both(*photos)
    found = compare(first, second, limits, told, near, patch)
    return Measured(first, second, found, limits)


def patch_of(before: str | None, after: str | None = None) -> Patch | None:
    """Return a patch written as left,top,width,height; None where none is given.

    Raises
    ------
    TriageError: not four whole numbers, or only that of the second photo.
    """
    if before is None:
        if after is not None:
            raise TriageError("the patch of the first photo is missing", mend="give it too")
        return None
    return Patch(_box(before), None if after is None else _box(after))


def _box(words: str) -> Box:
    try:
        left, top, wide, high = (int(each) for each in words.split(","))
    except ValueError:
        raise OutOfRange(
            f'"{words}" is no patch', mend="write left,top,width,height in points: 20,30,80,60"
        ) from None
    return left, top, wide, high
