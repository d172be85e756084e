"""Gas quantities: molar volume, ppm and mg/m3, vapour pressure, saturation, pressure by height."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

from triage.errors import OutOfRange
from triage.exposure.maths import Floats, checked
from triage.units import within

R_J_PER_MOL_K = 8.314462618
ZERO_C_K = 273.15
ATM_KPA = 101.325
LIMIT_TEMP_C = 25.0
"""At this temperature ppm are shown; limits are converted at that of their authority."""


def molar_volume_l(temp_c: ArrayLike = LIMIT_TEMP_C, pressure_kpa: ArrayLike = ATM_KPA) -> Floats:
    """Return the volume of one mole of ideal gas.

    Parameters
    ----------
    temp_c       [C], -50 to 100
    pressure_kpa [kPa], 20 to 200

    Returns
    -------
    [L/mol], broadcast shape; 24.465 at 25 C and 1 atm (agencies print 24.45: 0.06 % less).

    Source
    ------
    R T / P; NIOSH Manual of Analytical Methods, Appendix A "Unit equivalents", 8/15/94.
    """
    kelvin = checked("temperature", temp_c, "C", -50.0, 100.0) + ZERO_C_K
    pressure = checked("air pressure", pressure_kpa, "kPa", 20.0, 200.0)
    return np.asarray(R_J_PER_MOL_K * kelvin / pressure)


def mg_per_m3_from_ppm(
    ppm: ArrayLike,
    molar_mass_g_per_mol: float,
    temp_c: ArrayLike = LIMIT_TEMP_C,
    pressure_kpa: ArrayLike = ATM_KPA,
) -> Floats:
    """Return mg/m3 for parts per million by volume of a gas or vapour (never of a dust).

    Source
    ------
    CCOHS, "Converting occupational exposure limits from mg/m3 to ppm".
    """
    molar = checked("molar mass", molar_mass_g_per_mol, "g/mol", 1.0)
    return np.asarray(checked("ppm", ppm, "ppm") * molar / molar_volume_l(temp_c, pressure_kpa))


def ppm_from_mg_per_m3(
    mg_per_m3: ArrayLike,
    molar_mass_g_per_mol: float,
    temp_c: ArrayLike = LIMIT_TEMP_C,
    pressure_kpa: ArrayLike = ATM_KPA,
) -> Floats:
    """Return parts per million by volume for a vapour level in mg/m3 (never of a dust).

    Source
    ------
    CCOHS, "Converting occupational exposure limits from mg/m3 to ppm".
    """
    molar = checked("molar mass", molar_mass_g_per_mol, "g/mol", 1.0)
    level = checked("level", mg_per_m3, "mg/m3")
    return np.asarray(level * molar_volume_l(temp_c, pressure_kpa) / molar)


def pressure_at_altitude_kpa(altitude_m: float) -> float:
    """Return the air pressure of the standard atmosphere at a height.

    Parameters
    ----------
    altitude_m above sea level [m], -500 to 6000

    Source
    ------
    ISO 2533:1975, Standard atmosphere: hydrostatic balance with 6.5 K/km from 288.15 K.
    """
    height = within("altitude", altitude_m, -500.0, 6000.0, "m")
    lapse, base_k = 0.0065, 288.15
    power = 9.80665 * 0.0289644 / (8.31432 * lapse)
    return float(ATM_KPA * (1.0 - lapse * height / base_k) ** power)


def vapour_kpa_at(points: tuple[tuple[float, float], ...], temp_c: float) -> float:
    """Return the vapour pressure between measured points.

    Parameters
    ----------
    points ((temp_c, kPa), ...), any order, temperatures all different
    temp_c [C], inside the points; a single point serves its own temperature only

    Raises
    ------
    OutOfRange: no points, or a temperature outside them. Nothing is extrapolated.

    Notes
    -----
    Within each pair the heat of vaporisation is taken as constant: ln p is linear in 1/T.

    Source
    ------
    Clausius-Clapeyron, integrated.
    """
    if not points:
        raise OutOfRange("no vapour pressure is known", mend="add a measured point with its source")
    ordered = sorted(points)
    temps = checked("vapour point temperature", [t for t, _ in ordered], "C", -200.0, 500.0)
    kpas = checked("vapour pressure", [p for _, p in ordered], "kPa", 0.0, above_least=True)
    if (np.diff(temps) <= 0.0).any():
        raise OutOfRange("two vapour pressures stand at one temperature", mend="keep one of them")
    low, high = float(temps[0]), float(temps[-1])
    if not math.isfinite(temp_c) or not low <= temp_c <= high:
        raise OutOfRange(
            f"vapour pressure is known from {low:g} to {high:g} C, not at {temp_c:g} C",
            mend="work inside that range or add a measured point",
        )
    inverse = 1.0 / (temps + ZERO_C_K)
    wanted = 1.0 / (temp_c + ZERO_C_K)
    return float(np.exp(np.interp(-wanted, -inverse, np.log(kpas))))


def saturation_mg_per_m3(
    vapour_kpa: ArrayLike, molar_mass_g_per_mol: float, temp_c: ArrayLike
) -> Floats:
    """Return the most vapour that air can hold [mg/m3]; the pressure of the air does not matter.

    Source
    ------
    Ideal gas; Jayjock, posts on evaporating sources (2013): saturation concentration.
    """
    pressure = checked("vapour pressure", vapour_kpa, "kPa")
    molar = checked("molar mass", molar_mass_g_per_mol, "g/mol", 1.0)
    kelvin = checked("temperature", temp_c, "C", -50.0, 100.0) + ZERO_C_K
    return np.asarray(pressure * 1e3 * molar * 1e3 / (R_J_PER_MOL_K * kelvin))
