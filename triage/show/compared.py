"""What two photographs of one zone tell: now, in the record of an attempt, and of a method."""

from __future__ import annotations

import json
import math
import statistics
from collections.abc import Callable, Iterable, Iterator, Mapping
from typing import TYPE_CHECKING, Any

from triage.show.blocks import Block, Line, Picture

if TYPE_CHECKING:
    from triage.case.models import Case
    from triage.history.table import HistoryRow
    from triage.knowledge.judgement import PictureLimits
    from triage.picture.pair import Comparison


def compared_blocks(
    found: Comparison, limits: PictureLimits, um_per_px: float | None
) -> Iterator[Line]:
    """Yield what left, came and stayed, what it did to the surface, and what it speaks for."""
    for word, spots in (("left", found.vanished), ("came", found.appeared)):
        yield Line(f"{word}: {_spots(spots, found.area_px, um_per_px)}")
    if found.may_have_moved:
        yield Line(f"as many as {found.may_have_moved} of them may be one that moved", depth=1)
    if found.removal is None:
        yield Line("what stayed cannot be told from the surface: no share of removal is given")
    else:
        each = found.removal
        least = 2 * math.sqrt(limits.least_pixels.value / math.pi) * (um_per_px or 1.0)
        yield Line(
            f"gone: {100 * each.share:.0f} % ({100 * each.low:.0f} to {100 * each.high:.0f} %) of "
            f"the spots over {least:.2g} {'um' if um_per_px else 'points'}, "
            f"{each.before} before, {each.after} after"
        )
        yield from _clean(found, limits, um_per_px, least)
    harm = found.harm
    seen = "an eye sees it" if harm.colour_median > limits.colour_seen.value else "not visible"
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
    yield Line(f"this speaks for: {outcome.replace('-', ' ')} ({because}); you decide")


def _spots(spots: Any, area_px: int, um_per_px: float | None) -> str:
    if not spots:
        return "no spot"
    sizes = sorted(spot.diameter_px for spot in spots)
    unit, each = ("um", um_per_px) if um_per_px else ("points", 1.0)
    told = f"{len(sizes)} spots" if len(sizes) > 1 else "1 spot"
    told += f", diameters {each * sizes[0]:.3g} to {each * sizes[-1]:.3g} {unit}"
    # Quantiles by number of the area-equivalent diameter, as ISO 9276-2 and 13322-1 name them.
    at = (min(len(sizes) - 1, math.ceil(share * len(sizes)) - 1) for share in (0.1, 0.5, 0.9))
    tenth, half, most = (each * sizes[place] for place in at)
    told += f" (x10 {tenth:.3g}, x50 {half:.3g}, x90 {most:.3g})"
    if um_per_px:
        told += f"; {len(sizes) / (area_px * um_per_px**2 / 1e6):.3g} a mm2"
    return told


def offered(found: Comparison, limits: PictureLimits) -> tuple[str, str]:
    """Return the outcome that two photographs speak for, and why; the person decides."""
    harm, left, came = found.harm, len(found.vanished), len(found.appeared)
    if harm.lost:
        return "damage", "fine structure that stood there before is gone"
    if harm.colour_median > limits.colour_seen.value:
        return "damage", "the colour of the surface itself moved by more than an eye overlooks"
    if came > left:
        return "worse", "more came than left"
    if not left:
        return "no-change", "no spot left"
    if found.removal is not None and not found.removal.after:
        return "cleared", "no spot is left that can be counted"
    return "better", "more left than came"


def _clean(
    found: Comparison, limits: PictureLimits, um_per_px: float | None, size_um: float
) -> Iterator[Line]:
    """Yield how clean that is on two published scales, where enough was counted on a known area."""
    from triage.bench.cleanliness import product_level, surface_class  # noqa: PLC0415

    removal = found.removal
    if um_per_px is None or removal is None:
        return
    if removal.before < limits.least_for_class.value:
        yield Line("too few spots on this area for a class of cleanliness", depth=1)
        return
    area_mm2 = found.area_px * um_per_px**2 / 1e6
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
        f"clean by ISO 14644-9:2012 (class at {size_um:.2g} um) and as a product level on 0.1 m2: "
        f"{'; '.join(told)}",
        depth=1,
    )


COUNTS = (("left", "spots left"), ("came", "came"))


def measured_words(kept: Mapping[str, Any]) -> str:
    """Return the figures that are kept with an attempt in one line, empty where there are none.

    The record may be edited by hand: what is no figure is left out.
    """
    told = [f"{n:g} {word}" for key, word in COUNTS if (n := _number(kept.get(key))) is not None]
    gone = [_number(each) for each in kept.get("removed") or () if not isinstance(each, str)]
    if len(gone) == 3 and None not in gone:
        share, low, high = (f"{100 * each:.0f}" for each in gone if each is not None)
        told.append(f"{share} % gone ({low} to {high} %)")
    if (moved := _number(kept.get("colour_median"))) is not None:
        told.append(f"colour moved {moved:.1f}")
    if _number(kept.get("lost_share")):
        told.append("fine structure lost")
    return f"by the photos: {', '.join(told)}" if told else ""


def _number(held: Any) -> float | None:
    return float(held) if isinstance(held, int | float) and math.isfinite(held) else None


def attempt_photo_blocks(
    case: Case, photo: Callable[[str], bytes | None] = lambda _: None
) -> Iterator[Block]:
    """Yield what the photos of each attempt told, and the marked pair; ``photo`` reads one."""
    for attempt in case.effective_attempts():
        if words := measured_words(attempt.measured):
            yield Line(f"{attempt.id} {attempt.step}, {attempt.at:%Y-%m-%d}: {words}")
            name = attempt.measured.get("marked")
            png = photo(name) if isinstance(name, str) else None
            if png is not None:
                yield Picture(f"{name}: ring left, cross came, square fine structure gone", png)


def method_photo_blocks(
    rows: Iterable[HistoryRow], called: Callable[[str, str], str] = lambda _, key: key
) -> Iterator[Line]:
    """Yield what photos told of each method on each deposit: the middle of what is on record."""
    groups: dict[tuple[str, str], list[Mapping[str, Any]]] = {}
    for row in rows:
        if row.measured and row.method:
            groups.setdefault((row.method, row.deposit), []).append(json.loads(row.measured))
    if groups:
        yield Line("by the photos", is_bold=True)
    for (method, deposit), kept in sorted(groups.items()):
        told = [f"{len(kept)} measured"]
        gone = [each["removed"] for each in kept if measured_words(each).count("% gone")]
        if gone:
            middle = 100 * statistics.median(share for share, _, _ in gone)
            low, high = 100 * min(each[1] for each in gone), 100 * max(each[2] for each in gone)
            told.append(f"{middle:.0f} % gone ({low:.0f} to {high:.0f} %)")
        moved = [each for one in kept if (each := _number(one.get("colour_median"))) is not None]
        if moved:
            told.append(f"colour moved {statistics.median(moved):.1f}, at most {max(moved):.1f}")
        lost = sum(bool(_number(each.get("lost_share"))) for each in kept)
        told += [f"fine structure lost in {lost}"] * bool(lost)
        where = called("deposit", deposit) if deposit else "-"
        yield Line(f"{called('method', method)} on {where}: {', '.join(told)}", depth=1)
