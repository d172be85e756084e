"""What a comparison speaks for: an outcome that is offered, and the figures that are kept."""

from __future__ import annotations

from typing import Any

from triage.picture.limits import Limits
from triage.picture.pair import Comparison


def offered(found: Comparison, limits: Limits) -> tuple[str, str]:
    """Return the outcome that two photographs speak for, and why; the person decides."""
    harm, left, came = found.harm, len(found.vanished), len(found.appeared)
    if harm.lost:
        return "damage", "fine structure that stood there before is gone"
    if harm.colour_median > limits.colour_seen:
        return "damage", "the colour of the surface itself moved by more than an eye overlooks"
    if came > left:
        return "worse", "more came than left"
    if not left:
        return "no-change", "no spot left"
    if found.removal is not None and not found.removal.after:
        return "cleared", "no spot is left that can be counted"
    return "better", "more left than came"


def figures(found: Comparison, um_per_px: float | None) -> dict[str, Any]:
    """Return what is kept with an attempt: plain numbers, with the method that made them."""
    harm, removal = found.harm, found.removal
    kept: dict[str, Any] = {
        "method": found.version,
        "left": len(found.vanished),
        "came": len(found.appeared),
        "colour_median": round(harm.colour_median, 2),
        "colour_95": round(harm.colour_95, 2),
        "lost_share": round(harm.lost_share, 4),
        "gloss_before": round(harm.gloss_before, 5),
        "gloss_after": round(harm.gloss_after, 5),
        "light": "by a patch" if found.by_patch else "by the surface",
    }
    if removal is not None:
        ends = (removal.share, removal.low, removal.high)
        kept |= {"stayed": removal.stayed, "removed": [round(each, 3) for each in ends]}
    if um_per_px is not None:
        kept["um_per_pixel"] = um_per_px
    return kept
