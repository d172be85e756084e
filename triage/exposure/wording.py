"""Plain sentences for a judgement of the air."""

from __future__ import annotations

from decimal import Decimal
from typing import Any

from triage.exposure.space import Room
from triage.exposure.substance import Limit, LimitRatio, Substance

MOST_CHARACTERS = 139
IGNITION = "Fire: this liquid can flash at the room's temperature; remove every source of ignition."
NOTHING_AIRBORNE = "Gives off no vapour; do not spray it and do not raise dust."
_BASIS = {
    "twa": "8 h limit",
    "stel": "short-term limit",
    "ceiling": "ceiling",
    "peak": "peak limit",
    "idlh": "danger-to-life level",
    "action": "action level",
}


def number(value: float) -> str:
    """Return a figure with two to three digits, never in powers of ten."""
    if value == 0.0:
        return "0"
    if abs(value) >= 100.0:
        return f"{value:.0f}"
    digits = 2
    while abs(value) < 10.0 ** (1 - digits) * 10 and digits < 6:
        digits += 1
    return f"{value:.{digits - 1}f}".rstrip("0").rstrip(".") or "0"


def plainly(value: float) -> str:
    """Return a figure with all its digits, never in powers of ten."""
    return f"{Decimal(f'{value:g}'):f}"


def window_words(window_min: float) -> str:
    """Return the time over which a level is averaged."""
    return {0.0: "peak", 480.0: "8 h"}.get(window_min, f"{number(window_min)} min")


def limit_name(limit: Limit) -> str:
    """Return a limit as the user knows it: authority and kind."""
    return f"{limit.shown_as or limit.authority} {_BASIS[limit.basis]}"


def limit_words(authority: str, limit: Any) -> str:
    """Return a limit as published, in the knowledge or on a plan: whose, what time, how much, when.

    ``limit`` has basis, value, unit and edition.
    """
    return (
        f"{authority}, {_BASIS[limit.basis]} {plainly(limit.value)} {limit.unit} ({limit.edition})"
    )


def clipped(*choices: str) -> str:
    """Return the first sentence that is short enough, else the last one cut to length."""
    for text in choices:
        if len(text) <= MOST_CHARACTERS:
            return text
    return choices[-1][: MOST_CHARACTERS - 3].rstrip() + "..."


def _mend(largest_ok_ml: float | None) -> str:
    if largest_ok_ml == 0.0:
        return "the day alone is too much: air the room and release no more"
    if largest_ok_ml is None or largest_ok_ml < 1e-4:
        return "use another agent or work outdoors"
    # Rounded down: the amount that is shown must itself be within the limit.
    step = 10.0 ** (len(str(int(largest_ok_ml))) - 3) if largest_ok_ml >= 1.0 else 1e-4
    shown = int(largest_ok_ml / step) * step
    return f"use at most {shown:.4f}".rstrip("0").rstrip(".") + " mL or get more fresh air"


def over_limit(ratio: LimitRatio, largest_ok_ml: float | None) -> str:
    """Return the sentence for a limit that is exceeded: which, by what factor, what to do."""
    what, part = limit_name(ratio.limit), _allowed(ratio)
    head, mend = f"Too much: {number(ratio.factor)} times {part}", _mend(largest_ok_ml)
    return clipped(
        f"{head}: {_reached(ratio)}; {mend}.",
        f"{head} at the face; {mend}.",
        f"Too much: {number(ratio.factor)} times the {what}; {mend}.",
    )


def over_mixture(factor: float, window_min: float, largest_ok_ml: float | None) -> str:
    """Return the sentence for the additive rule."""
    return clipped(
        f"Too much together with today's other agents: {number(factor)} times the summed "
        f"{window_words(window_min)} limits; {_mend(largest_ok_ml)}."
    )


def over_fire(fraction: float, largest_ok_ml: float | None) -> str:
    """Return the sentence for vapour that comes near its lower flammable limit."""
    return clipped(
        f"Fire: vapour at the face reaches {number(fraction * 100)} % of the lower flammable "
        f"limit; {_mend(largest_ok_ml)}."
    )


def within_limits(ratio: LimitRatio | None) -> str:
    """Return the sentence for a release that is ok."""
    if ratio is None:
        return "No limit is exceeded."
    used = f"Within limits: {number(ratio.factor * 100)} % of {_allowed(ratio)}"
    return clipped(f"{used}: {_reached(ratio)}.", f"{used} at the face.")


def _allowed(ratio: LimitRatio) -> str:
    """Return what may be used of a limit, in words."""
    share, name = ratio.allowed_fraction, limit_name(ratio.limit)
    return f"the {name}" if share == 1.0 else f"what is allowed, {share * 100:g} % of the {name}"


def _reached(ratio: LimitRatio) -> str:
    """Return the level and what is allowed in one unit, whatever unit the limit stands in."""
    allowed = ratio.limit.value_mg_per_m3 * ratio.allowed_fraction
    return f"{number(ratio.level_mg_per_m3)} of {number(allowed)} mg/m3 at the face"


def no_limit(substance: Substance, peak_mg_per_m3: float) -> str:
    """Return the sentence for an agent without a published limit."""
    return clipped(
        f"No published limit for {substance.key}: up to {number(peak_mg_per_m3)} mg/m3 at the "
        "face cannot be judged.",
        "No published limit is known: the level at the face cannot be judged.",
    )


def judged_instead(substance: Substance, authority: str) -> str:
    """Return that the chosen authority has no figure, and by what is judged instead."""
    name = dict(substance.silent).get(authority, authority)
    working = [each for each in substance.limits if each.basis != "idlh"]
    others = sorted({each.shown_as or each.authority for each in working})
    return (
        f"{name} has no limit for {substance.key}: judged by the most protective of "
        f"{', '.join(others)} instead."
    )


def assumptions(room: Room, minutes: float, notes: tuple[str, ...]) -> tuple[str, ...]:
    """Return what the figures rest on, in words."""
    share = room.band.evaporated_share[1]
    found = [f"{number(share * 100)} % of the liquid evaporates, for the room all at once."]
    if minutes > 0.0:
        found.append(f"At the face it evaporates evenly over {number(minutes)} min.")
    if room.outdoors:
        found.append("Outdoors: no room fills up, only the air before the face counts.")
    elif room.air_changes_per_h is None:
        found.append("Air changes are not known, so none are counted.")
    else:
        found.append(
            f"{number(room.air_changes_per_h)} air changes per hour, mixing factor "
            f"{number(room.mixing_factor)}."
        )
    found.append(
        f"Face within {number(room.near_field_radius_m)} m, air moving "
        f"{number(room.air_speed_m_per_min)} m/min."
    )
    worst = room.band.air_changes_factor[0], room.band.near_flow_factor[0]
    if min(worst) < 1.0:
        found.append(
            f"Judged at the unfavourable end: {number(worst[0])} of the air changes, "
            f"{number(worst[1])} of the flow at the face."
        )
    if room.captured_fraction > 0.0:
        found.append(f"{number(room.captured_fraction * 100)} % is captured at the source.")
    return (*found, *notes)
