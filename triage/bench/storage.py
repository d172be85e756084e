"""Sealed boxes and vials: drying gel, vapour from crystals, fluid per specimen."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

from triage.bench.chamber import vapour_density_mg_per_l
from triage.errors import OutOfRange, TriageError
from triage.knowledge.tables import Gel
from triage.units import at_least, positive, within


@dataclass(frozen=True, slots=True)
class GelNeed:
    """Drying gel for one box: water to take up [mg], least gel and gel with the extra [g]."""

    water_mg: float
    least_g: float
    advised_g: float
    sentence: str


def gel_capacity(gel: Gel, rh_percent: float) -> float:
    """Return the least water a gel holds at a humidity [g water per g dry gel].

    Straight lines between the rows of the standard; it curves above them for narrow pores, so
    the line is the cautious side. Raises OutOfRange outside the rows.
    """
    rows = gel.capacity
    rh = within("final humidity", rh_percent, rows[0].rh_percent, rows[-1].rh_percent, "%")
    for low, high in pairwise(rows):
        if rh <= high.rh_percent:
            share = (rh - low.rh_percent) / (high.rh_percent - low.rh_percent)
            rise = high.percent_of_dry_mass - low.percent_of_dry_mass
            return (low.percent_of_dry_mass + share * rise) / 100.0
    raise AssertionError("within() let a humidity pass that no row covers")  # pragma: no cover


def gel_for_box(
    gel: Gel,
    *,
    volume_l: float,
    temp_c: float,
    rh_start_percent: float,
    rh_end_percent: float,
    free_water_mg: float,
    held_fraction: float,
    extra_fraction: float,
) -> GelNeed:
    """Return the drying gel a closed box needs.

    Parameters
    ----------
    gel              an entry of the gels table
    volume_l         air in the box [L], > 0
    temp_c           temperature [C], 0 to 50
    rh_start_percent humidity when it is closed [%]
    rh_end_percent   humidity it is to end at [%], not above the start
    free_water_mg    water in insects, card and cork that has to go [mg], >= 0
    held_fraction    water the gel already holds [g/g dry], >= 0
    extra_fraction   added on top of the least mass [fraction], >= 0

    Raises
    ------
    OutOfRange: a number out of range, or the gel already holds what it can at the end humidity.
    TriageError: the gel is of a kind that does not dry below 50 %.

    Notes
    -----
    g = (free water + V rho_sat (RH0 - RH1)/100)/(1000 (q(RH1) - q0)). Sized by the final
    humidity. The air is never the main store of water: card and cork hold far more.

    Source
    ------
    Mass balance of water; least capacities of JIS Z 0701:1977, table 3.
    """
    volume = positive("box volume", volume_l, "L")
    free = at_least("free water", free_water_mg, 0.0, "mg")
    held = at_least("water held by the gel", held_fraction, 0.0, "g/g")
    extra = at_least("extra gel", extra_fraction, 0.0, "fraction")
    room = _room_in_gel(gel, rh_start_percent, rh_end_percent, held)
    start = vapour_density_mg_per_l(temp_c, rh_start_percent)
    water = free + volume * (start - vapour_density_mg_per_l(temp_c, rh_end_percent))
    least = water / (1000.0 * room)
    advised = least * (1.0 + extra)
    return GelNeed(
        water,
        least,
        advised,
        f"{advised:.2g} g of {gel.name} (least {least:.2g} g) to take up {water:.0f} mg of water.",
    )


def _room_in_gel(
    gel: Gel, rh_start_percent: float, rh_end_percent: float, held_fraction: float
) -> float:
    """Return the water a gel still takes up [g/g dry, > 0] after every reason to refuse."""
    if rh_end_percent > rh_start_percent:
        raise OutOfRange(
            f"the box is to end damper ({rh_end_percent:g} %) than it starts",
            mend="give an end humidity below the start",
        )
    if not gel.is_fit_for_drying and rh_end_percent < 50.0:
        raise TriageError(
            f"{gel.name} takes up too little below 50 % RH", mend="use a gel made for drying"
        )
    room = gel_capacity(gel, rh_end_percent) - held_fraction
    if room <= 0.0:
        raise OutOfRange(
            f"the gel already holds what it can at {rh_end_percent:g} % RH",
            mend="dry the gel first, or take fresh gel",
        )
    return room


def gel_by_packing_rule_g(
    volume_m3: float, gel_g_per_m3: float, packing_g: float = 0.0, packing_factor: float = 0.0
) -> float:
    """Return the gel [g] for a tight case by the packing rule: a V + D F.

    Source: supplier guides after BS 1133 section 19; a is 170 g/m3, F 1/5 to 1/10 by material.
    """
    volume = positive("case volume", volume_m3, "m3")
    packing = at_least("packing", packing_g, 0.0, "g")
    factor = within("packing factor", packing_factor, 0.0, 1.0, "g/g")
    return volume * positive("gel per volume", gel_g_per_m3, "g/m3") + packing * factor


def opening_pulse_mg(volume_l: float, level_mg_per_l: float) -> float:
    """Return the vapour [mg] that leaves a box when it is opened, at most: all its air's.

    For a box with crystals give the saturation level; feed the result to the room model as a
    release at once. Equally the mass that saturates the box's air.
    """
    return positive("box volume", volume_l, "L") * at_least("level", level_mg_per_l, 0.0, "mg/L")


@dataclass(frozen=True, slots=True)
class VapourStock:
    """Crystals in a box: what saturates the air [mg], how long they last [days], and a sentence.

    ``lasts_days`` is None when no air leaves: they last until the box is opened.
    """

    saturates_mg: float
    lasts_days: float | None
    ratio: float
    sentence: str


def vapour_stock(
    crystals_mg: float, volume_l: float, level_mg_per_l: float, box_changes_per_day: float
) -> VapourStock:
    """Return how a mass of crystals compares with what the air of a box can hold.

    Parameters
    ----------
    crystals_mg         crystals put in [mg], > 0
    volume_l            air in the box [L], > 0
    level_mg_per_l      saturation of the vapour [mg/L], > 0
    box_changes_per_day air changes of the closed box [1/day], >= 0

    Notes
    -----
    A crystal that is left means saturation; more crystals only last longer. Card and foam take
    up vapour first and give it back for weeks.

    Source
    ------
    Mass balance: m/(V C n).
    """
    crystals = positive("crystals", crystals_mg, "mg")
    level = positive("saturation", level_mg_per_l, "mg/L")
    needed = opening_pulse_mg(volume_l, level)
    changes = at_least("air changes of the box", box_changes_per_day, 0.0, "1/day")
    lasts = crystals / (needed * changes) if changes > 0.0 else None
    ratio = crystals / needed
    if ratio < 1.0:
        sentence = f"Too little to saturate the box: that takes {needed:.3g} mg."
    elif lasts is None:
        sentence = f"Saturates the box {ratio:.3g} times over and lasts until it is opened."
    else:
        sentence = f"Saturates the box {ratio:.3g} times over and lasts about {lasts:.3g} days."
    return VapourStock(needed, lasts, ratio, sentence)


def crystals_for_mg(
    days: float, volume_l: float, level_mg_per_l: float, box_changes_per_day: float
) -> float:
    """Return the crystals [mg] that keep a box saturated for ``days``: first fill plus losses."""
    time = at_least("time", days, 0.0, "days")
    changes = at_least("air changes of the box", box_changes_per_day, 0.0, "1/day")
    return opening_pulse_mg(volume_l, level_mg_per_l) * (1.0 + changes * time)
