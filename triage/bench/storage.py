"""Sealed boxes and vials: drying gel, vapour from crystals, fluid per specimen."""

from __future__ import annotations

from itertools import pairwise

from triage.bench.chamber import vapour_density_mg_per_l
from triage.errors import OutOfRange, TriageError
from triage.knowledge.tables import Gel
from triage.units import at_least, positive, within


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
    volume_l: float,
    temp_c: float,
    rh_percent: tuple[float, float],
    free_water_mg: float,
    held_fraction: float,
) -> tuple[float, float]:
    """Return the water to take up [mg] in a closed box, and the least gel that does it [g].

    ``rh_percent`` is the humidity when it is closed, and that it is to end at; ``free_water_mg``
    the water in insects, card and cork that has to go; ``held_fraction`` what the gel already
    holds [g/g dry].

    g = (free water + V rho_sat (RH0 - RH1)/100)/(1000 (q(RH1) - q0)). Sized by the final
    humidity. The air is never the main store of water: card and cork hold far more.
    Source: mass balance of water; least capacities of JIS Z 0701:1977, table 3.
    """
    volume = positive("box volume", volume_l, "L")
    free = at_least("free water", free_water_mg, 0.0, "mg")
    held = at_least("water held by the gel", held_fraction, 0.0, "g/g")
    start, end = rh_percent
    if end > start:
        raise OutOfRange(
            f"the box is to end damper ({end:g} %) than it starts",
            mend="give an end humidity below the start",
        )
    if not gel.is_fit_for_drying and end < 50.0:
        raise TriageError(
            f"{gel.name} takes up too little below 50 % RH", mend="use a gel made for drying"
        )
    room = gel_capacity(gel, end) - held
    if room <= 0.0:
        raise OutOfRange(
            f"the gel already holds what it can at {end:g} % RH",
            mend="dry the gel first, or take fresh gel",
        )
    in_air = vapour_density_mg_per_l(temp_c, start) - vapour_density_mg_per_l(temp_c, end)
    water = free + volume * in_air
    return water, water / (1000.0 * room)


def opening_pulse_mg(volume_l: float, level_mg_per_l: float) -> float:
    """Return the vapour [mg] that leaves a box when it is opened, at most: all its air's.

    For a box with crystals give the saturation level; feed the result to the room model as a
    release at once. Equally the mass that saturates the box's air.
    """
    return positive("box volume", volume_l, "L") * at_least("level", level_mg_per_l, 0.0, "mg/L")


def crystals_last(
    crystals_mg: float, volume_l: float, level_mg_per_l: float, box_changes_per_day: float
) -> tuple[float, float | None]:
    """Return how many times crystals saturate the air of a box, and the days that they last.

    None where the closed box changes no air: they last until it is opened. A crystal that is left
    means saturation; more crystals only last longer. Card and foam take up vapour first and give it
    back for weeks. Source: mass balance, m/(V C n).
    """
    crystals = positive("crystals", crystals_mg, "mg")
    needed = opening_pulse_mg(volume_l, positive("saturation", level_mg_per_l, "mg/L"))
    changes = at_least("air changes of the box", box_changes_per_day, 0.0, "1/day")
    return crystals / needed, crystals / (needed * changes) if changes > 0.0 else None


def crystals_for_mg(
    days: float, volume_l: float, level_mg_per_l: float, box_changes_per_day: float
) -> float:
    """Return the crystals [mg] that keep a box saturated for ``days``: first fill plus losses."""
    time = at_least("time", days, 0.0, "days")
    changes = at_least("air changes of the box", box_changes_per_day, 0.0, "1/day")
    return opening_pulse_mg(volume_l, level_mg_per_l) * (1.0 + changes * time)
