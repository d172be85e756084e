"""Gas quantities: molar volume, ppm and mg/m3, vapour pressure, saturation, pressure by height."""

from __future__ import annotations

import math
from itertools import pairwise

from triage.errors import OutOfRange
from triage.units import at_least, positive, within

R_J_PER_MOL_K = 8.314462618
ZERO_C_K = 273.15
ATM_KPA = 101.325
LIMIT_TEMP_C = 25.0
"""At this temperature ppm are shown; limits are converted at that of their authority."""


def molar_volume_l(temp_c: float = LIMIT_TEMP_C, pressure_kpa: float = ATM_KPA) -> float:
    """Return the volume of one mole of ideal gas [L/mol], R T / P.

    24.465 at 25 C and 1 atm (agencies print 24.45: 0.06 % less).
    Source: NIOSH Manual of Analytical Methods, Appendix A "Unit equivalents", 8/15/94.
    """
    kelvin = within("temperature", temp_c, -50.0, 100.0, "C") + ZERO_C_K
    return R_J_PER_MOL_K * kelvin / within("air pressure", pressure_kpa, 20.0, 200.0, "kPa")


def mg_per_m3_from_ppm(
    ppm: float,
    molar_mass_g_per_mol: float,
    temp_c: float = LIMIT_TEMP_C,
    pressure_kpa: float = ATM_KPA,
) -> float:
    """Return mg/m3 for parts per million by volume of a gas or vapour (never of a dust).

    Source: CCOHS, "Converting occupational exposure limits from mg/m3 to ppm".
    """
    molar = at_least("molar mass", molar_mass_g_per_mol, 1.0, "g/mol")
    return at_least("ppm", ppm, 0.0, "ppm") * molar / molar_volume_l(temp_c, pressure_kpa)


def ppm_from_mg_per_m3(
    mg_per_m3: float,
    molar_mass_g_per_mol: float,
    temp_c: float = LIMIT_TEMP_C,
    pressure_kpa: float = ATM_KPA,
) -> float:
    """Return parts per million by volume for a vapour level in mg/m3 (never of a dust).

    Source: CCOHS, "Converting occupational exposure limits from mg/m3 to ppm".
    """
    molar = at_least("molar mass", molar_mass_g_per_mol, 1.0, "g/mol")
    level = at_least("level", mg_per_m3, 0.0, "mg/m3")
    return level * molar_volume_l(temp_c, pressure_kpa) / molar


def pressure_at_altitude_kpa(altitude_m: float) -> float:
    """Return the air pressure of the standard atmosphere at a height above the sea.

    Source: ISO 2533:1975, hydrostatic balance with 6.5 K/km from 288.15 K.
    """
    height = within("altitude", altitude_m, -500.0, 6000.0, "m")
    lapse, base_k = 0.0065, 288.15
    power = 9.80665 * 0.0289644 / (8.31432 * lapse)
    return float(ATM_KPA * (1.0 - lapse * height / base_k) ** power)


def vapour_kpa_at(points: tuple[tuple[float, float], ...], temp_c: float) -> float:
    """Return the vapour pressure between measured points ((temp_c, kPa), ...), in any order.

    Nothing is extrapolated: an OutOfRange tells of a temperature outside them; a single point
    serves its own. Within each pair the heat of vaporisation is taken as constant: ln p is linear
    in 1/T. Source: Clausius-Clapeyron, integrated.
    """
    if not points:
        raise OutOfRange("no vapour pressure is known", mend="add a measured point with its source")
    ordered = sorted(points)
    for temp, kpa in ordered:
        within("vapour point temperature", temp, -200.0, 500.0, "C")
        positive("vapour pressure", kpa, "kPa")
    if any(one[0] == two[0] for one, two in pairwise(ordered)):
        raise OutOfRange("two vapour pressures stand at one temperature", mend="keep one of them")
    low, high = ordered[0][0], ordered[-1][0]
    if not math.isfinite(temp_c) or not low <= temp_c <= high:
        raise OutOfRange(
            f"vapour pressure is known from {low:g} to {high:g} C, not at {temp_c:g} C",
            mend="work inside that range or add a measured point",
        )
    for (low, low_kpa), (high, high_kpa) in pairwise(ordered):
        if temp_c <= high:
            # The share of the way in 1/T, not in T.
            share = (temp_c - low) / (high - low) * (high + ZERO_C_K) / (temp_c + ZERO_C_K)
            return math.exp(math.log(low_kpa) + share * math.log(high_kpa / low_kpa))
    return ordered[0][1]


def saturation_mg_per_m3(vapour_kpa: float, molar_mass_g_per_mol: float, temp_c: float) -> float:
    """Return the most vapour that air can hold [mg/m3]; the pressure of the air does not matter.

    Source: ideal gas; Jayjock, posts on evaporating sources (2013): saturation concentration.
    """
    pressure = positive("vapour pressure", vapour_kpa, "kPa")
    molar = at_least("molar mass", molar_mass_g_per_mol, 1.0, "g/mol")
    kelvin = within("temperature", temp_c, -50.0, 100.0, "C") + ZERO_C_K
    return pressure * 1e3 * molar * 1e3 / (R_J_PER_MOL_K * kelvin)
