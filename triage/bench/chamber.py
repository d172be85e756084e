"""A closed damp box: salt slurries, water vapour, when to look, and when mould must be expected."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from triage.errors import OutOfRange, TriageError
from triage.knowledge.tables import HumidityPoint, Salt
from triage.units import at_least, finite, positive, within

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


def _neighbours(salt: Salt, temp_c: float) -> tuple[HumidityPoint, HumidityPoint] | None:
    pairs = pairwise(salt.points)
    return next(((a, b) for a, b in pairs if a.temp_c <= temp_c <= b.temp_c), None)


def _uncertainty(salt: Salt, temp_c: float) -> float | None:
    """Return the larger uncertainty of the neighbouring points; None if either has none."""
    exact = [point for point in salt.points if point.temp_c == temp_c]
    near = [point.plus_minus_percent for point in exact or _neighbours(salt, temp_c) or ()]
    known = [each for each in near if each is not None]
    return max(known) if known and len(known) == len(near) else None


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
    """Return the relative humidity over a slurry of a salt [%], slurry and air at one temperature.

    Route: polynomial, else a line between two table points, else the exponential; nothing is
    extrapolated: an OutOfRange tells of a temperature that none of them reaches. Holds for a
    slurry with crystals left and a tight box; near 95 % one degree of difference means dew.
    Source: Greenspan, J. Res. NBS 81A:89-96, 1977; OIML R 121, 1996, table 1.
    """
    temp = finite("temperature", temp_c, "C")
    curve, pair, off = salt.polynomial, _neighbours(salt, temp), _uncertainty(salt, temp)
    if curve is not None and curve.least_c <= temp <= curve.most_c:
        a0, a1, a2, a3 = curve.coefficients
        rh = a0 + temp * (a1 + temp * (a2 + temp * a3))
        return Humidity(rh, off, "polynomial", curve.source)
    if pair is not None:
        low, high = pair
        share = (temp - low.temp_c) / (high.temp_c - low.temp_c)
        rh = low.rh_percent + share * (high.rh_percent - low.rh_percent)
        return Humidity(rh, off, "between table points", low.source)
    found = exponential_rh(salt, temp)
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
    """Return the rising hours after closing at which to look into a chamber; the end is a look too.

    If the end comes before the first look, it is the only one.
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


#: relative humidity under which the model grows nothing [%], whatever the temperature
MODEL_FLOOR_PERCENT_RH = 80.0


def critical_rh_percent(temp_c: float) -> float:
    """Return the humidity above which the model lets mould grow [%], 0 < T < 50 C.

    Source: Hukka and Viitanen, Wood Sci. Technol. 33:475-485, 1999: a cubic up to 20 C, 80 above.
    """
    temp = within("temperature", temp_c, 0.1, 49.9, "C")
    if temp > 20.0:
        return MODEL_FLOOR_PERCENT_RH
    cubic = ((-0.00267 * temp + 0.160) * temp - 3.13) * temp + 100.0
    return max(MODEL_FLOOR_PERCENT_RH, cubic)


def weeks_to_first_growth(temp_c: float, rh_percent: float) -> float | None:
    """Return the model's time until growth shows under a microscope, index 1 [weeks].

    None at or under the critical humidity, where the model says nothing.
    Source: Hukka and Viitanen 1999, equation for t_m of resawn pine, as read in an open Finnish
    data set.
    """
    rh = within("relative humidity", rh_percent, 0.0, 100.0, "%")
    if rh <= critical_rh_percent(temp_c):
        return None
    return math.exp(-0.68 * math.log(temp_c) - 13.9 * math.log(rh) + 66.02)


@dataclass(frozen=True, slots=True)
class MouldLimit:
    """Longest stay to plan in a damp chamber [days].

    ``slow_estimate_days`` is the wood model's time, None where it says nothing. ``standing`` is
    never "safe": either a suggestion built on the slow estimate, or unknown.
    """

    slow_estimate_days: float | None
    stay_days: float
    standing: Literal["suggestion", "unknown"]
    sentence: str


def mould_limit(
    temp_c: float,
    rh_percent: float,
    *,
    divisor: float,
    cap_days_at_20_c: float,
    has_inhibitor: bool,
) -> MouldLimit:
    """Return the longest stay to plan before mould must be expected.

    ``divisor`` is what the wood model's time is divided by; it and the cap are suggestions. The
    model is for wood; an insect is food and carries spores, so its time is the slow end. Above
    20 C the cap shrinks as the model's time does, by (T/20)^-0.68. An inhibitor that is not used up
    lifts the cap but lengthens nothing else: no published figure says by how much. Where the model
    is silent the cap stands, inhibitor or not.
    """
    share = 1.0 / at_least("divisor", divisor, 1.0, "")
    cap = positive("cap", cap_days_at_20_c, "days")
    weeks = weeks_to_first_growth(temp_c, rh_percent)
    if temp_c > 20.0:
        cap *= (temp_c / 20.0) ** -0.68
    if weeks is None:
        told = "Whether mould grows here is unknown (some kinds grow below 80 % RH); "
        return MouldLimit(None, cap, "unknown", f"{told}plan at most {cap:.1f} days and look.")
    slow = 7.0 * weeks
    stay = slow * share if has_inhibitor else min(slow * share, cap)
    told = (
        f"Plan at most {stay:.1f} days (a suggestion without a source): on clean wood mould "
        f"takes {slow:.1f} days here, on an insect less."
    )
    return MouldLimit(slow, stay, "suggestion", told)
