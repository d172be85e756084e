"""What two photographs of one zone tell, in lines."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import TYPE_CHECKING, Any

from triage.show.blocks import Line
from triage.show.words import OUTCOME_WORDS

if TYPE_CHECKING:
    from triage.picture.limits import Limits
    from triage.picture.pair import Comparison


def compared_blocks(found: Comparison, limits: Limits, um_per_px: float | None) -> Iterator[Line]:
    """Yield what left, came and stayed, what it did to the surface, and what it speaks for."""
    from triage.picture.verdict import offered  # noqa: PLC0415  (loads arrays)

    for word, spots in (("left", found.vanished), ("came", found.appeared)):
        yield Line(f"{word}: {_spots(spots, found.area_px, um_per_px)}")
    if found.may_have_moved:
        yield Line(f"as many as {found.may_have_moved} of them may be one that moved", depth=1)
    if found.removal is None:
        yield Line("what stayed cannot be told from the surface: no share of removal is given")
    else:
        each = found.removal
        yield Line(
            f"gone: {100 * each.share:.0f} % ({100 * each.low:.0f} to {100 * each.high:.0f} %), "
            f"{each.before} before, {each.after} after"
        )
    harm = found.harm
    seen = "an eye sees it" if harm.colour_median > limits.colour_seen else "not visible"
    yield Line(
        f"colour outside these spots moved by {harm.colour_median:.1f}, {seen}; "
        f"95 % of it below {harm.colour_95:.1f} (CIEDE2000)"
    )
    gloss = [f"{100 * share:.2g} %" for share in (harm.gloss_before, harm.gloss_after)]
    yield Line(f"highlights: {gloss[0]} of the surface before, {gloss[1]} after")
    if harm.lost:
        yield Line(
            f"! hairs, scales or edges are gone in {len(harm.lost)} patches, "
            f"{100 * harm.lost_share:.2g} % of the surface"
        )
    outcome, because = offered(found, limits)
    yield Line(f"this speaks for: {OUTCOME_WORDS[outcome]} ({because}); you decide")


def _spots(spots: Any, area_px: int, um_per_px: float | None) -> str:
    if not spots:
        return "no spot"
    sizes = sorted(spot.diameter_px for spot in spots)
    unit, each = ("um", um_per_px) if um_per_px else ("points", 1.0)
    told = f"{len(sizes)} spots" if len(sizes) > 1 else "1 spot"
    told += f", diameters {each * sizes[0]:.3g} to {each * sizes[-1]:.3g} {unit}"
    told += f", half of them below {each * sizes[len(sizes) // 2]:.3g} {unit}"
    if um_per_px:
        told += f"; {len(sizes) / (area_px * um_per_px**2 / 1e6):.3g} a mm2"
    return told


def measured_words(kept: Mapping[str, Any]) -> str:
    """Return the figures that are kept with an attempt in one line, empty where there are none."""
    if not kept:
        return ""
    told = [f"{kept.get('left')} spots left, {kept.get('came')} came"]
    if share := kept.get("removed"):
        low, high = 100 * share[1], 100 * share[2]
        told.append(f"{100 * share[0]:.0f} % gone ({low:.0f} to {high:.0f} %)")
    told.append(f"colour moved {kept.get('colour_median')}")
    if kept.get("lost_share"):
        told.append("fine structure lost")
    return f"by the photos: {', '.join(told)}"
