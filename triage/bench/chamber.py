"""Humidity in a closed box: salt slurries, water vapour, and when to look."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

from triage.errors import OutOfRange, TriageError
from triage.knowledge.tables import HumidityPoint, Salt
from triage.units import finite, positive, within

GAS_CONSTANT_J_PER_MOL_K = 8.314462618
ZERO_C_IN_K = 273.15
WATER_G_PER_MOL = 18.015


@dataclass(frozen=True, slots=True)
class Humidity:
    """Relative humidity over a slurry [%] with its uncertainty, route and source.

    ``plus_minus_percent`` is None where none is published for this temperature: unknown, not zero.
    """

    rh_percent: float
    plus_minus_percent: float | None
    route: str
    source: str


def _polynomial_rh(salt: Salt, temp_c: float) -> Humidity | None:
    curve = salt.polynomial
    if curve is None or not curve.least_c <= temp_c <= curve.most_c:
        return None
    a0, a1, a2, a3 = curve.coefficients
    rh = a0 + temp_c * (a1 + temp_c * (a2 + temp_c * a3))
    return Humidity(rh, _uncertainty(salt, temp_c), "polynomial", curve.source)


def _neighbours(salt: Salt, temp_c: float) -> tuple[HumidityPoint, HumidityPoint] | None:
    for low, high in pairwise(salt.points):
        if low.temp_c <= temp_c <= high.temp_c:
            return (low, high)
    return None


def _uncertainty(salt: Salt, temp_c: float) -> float | None:
    """Return the larger uncertainty of the neighbouring points; None if either has none."""
    for point in salt.points:
        if point.temp_c == temp_c:
            return point.plus_minus_percent
    pair = _neighbours(salt, temp_c)
    if pair is None:
        return None
    known = [p.plus_minus_percent for p in pair if p.plus_minus_percent is not None]
    return max(known) if len(known) == len(pair) else None


def _point_rh(salt: Salt, temp_c: float) -> Humidity | None:
    pair = _neighbours(salt, temp_c)
    if pair is None:
        return None
    low, high = pair
    share = (temp_c - low.temp_c) / (high.temp_c - low.temp_c)
    rh = low.rh_percent + share * (high.rh_percent - low.rh_percent)
    return Humidity(rh, _uncertainty(salt, temp_c), "between table points", low.source)


def exponential_rh(salt: Salt, temp_c: float) -> Humidity | None:
    """Return the second source's figure, A exp(B/T), or None outside its range.

    It is coarser than the first route and serves as a cross-check.
    Source: CRC Handbook, constant humidity solutions.
    """
    curve = salt.exponential
    if curve is None or not curve.least_c <= finite("temperature", temp_c, "C") <= curve.most_c:
        return None
    rh = curve.a * math.exp(curve.b_k / (temp_c + ZERO_C_IN_K))
    return Humidity(rh, curve.within_percent, "exponential", curve.source)


def salt_rh(salt: Salt, temp_c: float) -> Humidity:
    """Return the relative humidity over a slurry of a salt [%].

    Parameters
    ----------
    salt   an entry of the salts table
    temp_c temperature of slurry and air alike [C]

    Raises
    ------
    OutOfRange: no curve and no two points of this salt hold at ``temp_c``; nothing is
    extrapolated.

    Notes
    -----
    Route: polynomial, else a line between two table points, else the exponential. Holds for a
    slurry with crystals left, a tight box and one temperature throughout; near 95 % one degree
    of difference means dew.

    Source
    ------
    Greenspan, J. Res. NBS 81A:89-96, 1977; OIML R 121, 1996, table 1.
    """
    temp = finite("temperature", temp_c, "C")
    found = _polynomial_rh(salt, temp) or _point_rh(salt, temp) or exponential_rh(salt, temp)
    if found is None:
        raise OutOfRange(
            f"no humidity is known over {salt.name} at {temp:g} C",
            mend="choose a temperature inside the table, or another salt",
        )
    return found


def saturation_pressure_pa(temp_c: float) -> float:
    """Return the vapour pressure of water over a flat surface [Pa], 0 to 50 C.

    Source: Tetens 1930, 610.78 * 10^(7.5 t/(t + 237.3)); within 0.2 % of the handbook table.
    """
    temp = within("temperature", temp_c, 0.0, 50.0, "C")
    return 610.78 * math.pow(10.0, 7.5 * temp / (temp + 237.3))


def vapour_density_mg_per_l(temp_c: float, rh_percent: float) -> float:
    """Return the water vapour in air [mg/L, the same as g/m3].

    Notes: ideal gas; within 0.6 % of the handbook's table from 10 to 34 C.
    """
    rh = within("relative humidity", rh_percent, 0.0, 100.0, "%")
    kelvin = temp_c + ZERO_C_IN_K
    pressure = saturation_pressure_pa(temp_c) * rh / 100.0
    return pressure * WATER_G_PER_MOL / (GAS_CONSTANT_J_PER_MOL_K * kelvin)


def water_to_reach_mg(
    volume_l: float, temp_c: float, rh_start_percent: float, rh_end_percent: float = 100.0
) -> float:
    """Return the water [mg] that takes the air of a box from one humidity to another.

    The air alone: paper, cork and the insect take up far more, so soak the pad well. A negative
    change is refused; drying is the business of ``storage.gel_for_box``.
    """
    volume = positive("box volume", volume_l, "L")
    start = vapour_density_mg_per_l(temp_c, rh_start_percent)
    end = vapour_density_mg_per_l(temp_c, rh_end_percent)
    if end < start:
        raise OutOfRange(
            f"the air is to end drier ({rh_end_percent:g} %) than it starts "
            f"({rh_start_percent:g} %)",
            mend="size a drying gel instead",
        )
    return volume * (end - start)


def look_times_h(first_look_h: float, looks_per_day: float, until_h: float) -> tuple[float, ...]:
    """Return the hours after closing at which to look into a chamber.

    Parameters
    ----------
    first_look_h  first look [h], > 0
    looks_per_day looks a day from then on [1/day], > 0
    until_h       last hour of the plan [h]; if it comes before the first look, it is the look

    Returns
    -------
    Rising hours, the last of them ``until_h``: the end is a look too.
    """
    first = positive("first look", first_look_h, "h")
    per_day = within("looks per day", looks_per_day, 0.01, 96.0, "1/day")
    until = positive("end of the plan", until_h, "h")
    if until / 24.0 * per_day > 10_000:
        raise TriageError("the plan has too many looks", mend="plan a shorter stay")
    gap = 24.0 / per_day
    count = max(0, math.ceil((until - first) / gap - 1e-9))
    looks = [first + n * gap for n in range(count)]
    return (*looks, until)
