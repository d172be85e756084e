"""What two photographs of one zone tell, in lines."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
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
        yield from _clean(found, limits, um_per_px)
    harm = found.harm
    seen = "an eye sees it" if harm.colour_median > limits.colour_seen else "not visible"
    yield Line(
        f"colour outside these spots moved by {harm.colour_median:.1f}, {seen}; "
        f"95 % of it below {harm.colour_95:.1f} (CIEDE2000)"
    )
    if not found.by_patch:
        yield Line("an even change of lightness cannot be told without a reference patch", depth=1)
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
    # Quantiles by number of the area-equivalent diameter, as ISO 9276-2 and 13322-1 name them.
    tenth, half, most = (each * size for size in quantiles(sizes, 0.1, 0.5, 0.9))
    told += f" (x10 {tenth:.3g}, x50 {half:.3g}, x90 {most:.3g})"
    if um_per_px:
        told += f"; {len(sizes) / (area_px * um_per_px**2 / 1e6):.3g} a mm2"
    return told


def quantiles(sizes: Sequence[float], *shares: float) -> list[float]:
    """Return the sizes below which these shares of sorted sizes lie."""
    return [sizes[min(len(sizes) - 1, math.ceil(share * len(sizes)) - 1)] for share in shares]


def _clean(found: Comparison, limits: Limits, um_per_px: float | None) -> Iterator[Line]:
    """Yield how clean that is on two published scales, where enough was counted on a known area."""
    from triage.picture.cleanliness import product_level, surface_class  # noqa: PLC0415

    removal = found.removal
    if um_per_px is None or removal is None:
        return
    if removal.before < limits.least_for_class:
        yield Line("too few spots on this area for a class of cleanliness", depth=1)
        return
    area_mm2 = found.area_px * um_per_px**2 / 1e6
    size_um = 2 * math.sqrt(limits.least_pixels / math.pi) * um_per_px
    told = []
    for word, spots in (("before", removal.before), ("after", removal.after)):
        # None left does not mean that none is there: three in the mean leave none in 5 of 100.
        is_none = not spots
        counted = spots or 3
        level, step = (
            product_level(counted, area_mm2, size_um),
            surface_class(counted, area_mm2, size_um),
        )
        name = "beyond the classes" if step is None else f"class {step:g}"
        told.append(f"{'better than ' if is_none else ''}{name}, level {level:.0f} {word}")
    yield Line(
        f"clean by ISO 14644-9 (class at {size_um:.2g} um) and as a product level on 0.1 m2: "
        f"{'; '.join(told)}",
        depth=1,
    )


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
