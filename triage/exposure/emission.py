"""How much vapour leaves a liquid, and how fast: bound, decaying source, pool, tube, drops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from triage.errors import OutOfRange
from triage.exposure.gas import ATM_KPA, R_J_PER_MOL_K, ZERO_C_K
from triage.exposure.maths import Floats, checked
from triage.units import at_least, positive, within


@dataclass(frozen=True, slots=True)
class VolumeRange:
    """A volume counted in drops, with the spread of a dropper in normal use [mL]."""

    least_ml: float
    mid_ml: float
    most_ml: float


def drops_to_ml(drops: float, drops_per_ml: float = 20.0, spread: float = 0.15) -> VolumeRange:
    """Return the volume of a count of drops.

    Parameters
    ----------
    drops        count, >= 0
    drops_per_ml 20 for a standard dropper; a fine tip and a light liquid give 30 to 40
    spread       fraction either way, 0 to 1

    Source
    ------
    USP 32, general chapter 1101, medicine dropper: volume error at most 15 % in normal use.
    """
    count = at_least("drops", drops, 0.0, "")
    per_ml = positive("drops per mL", drops_per_ml, "1/mL")
    part = within("drop spread", spread, 0.0, 1.0, "")
    mid = count / per_ml
    return VolumeRange(mid * (1.0 - part), mid, mid * (1.0 + part))


def total_mass_mg(volume_ml: ArrayLike, density_g_per_ml: float) -> Floats:
    """Return the mass if everything evaporates: the upper bound that needs no vapour pressure."""
    density = checked("density", density_g_per_ml, "g/mL", 0.0, above_least=True)
    return np.asarray(checked("volume", volume_ml, "mL") * density * 1000.0)


def exponential_rate_mg_per_min(
    mass_mg: ArrayLike, alpha_per_min: ArrayLike, minutes: ArrayLike
) -> Floats:
    """Return the rate of a source that dries out, ``alpha m exp(-alpha t)`` [mg/min].

    Notes
    -----
    ``alpha`` must be measured by weighing a drying swab; no formula for it is offered here.

    Source
    ------
    Jayjock, posts on evaporating sources (2013, 2015): shape of the small-spill source.
    """
    alpha = checked("alpha", alpha_per_min, "1/min")
    mass = checked("mass", mass_mg, "mg")
    return np.asarray(alpha * mass * np.exp(-alpha * checked("time", minutes, "min")))


def exponential_emitted_mg(
    mass_mg: ArrayLike, alpha_per_min: ArrayLike, minutes: ArrayLike
) -> Floats:
    """Return what a drying source has given off after a time, ``m (1 - exp(-alpha t))`` [mg]."""
    alpha = checked("alpha", alpha_per_min, "1/min")
    mass = checked("mass", mass_mg, "mg")
    return np.asarray(-mass * np.expm1(-alpha * checked("time", minutes, "min")))


def transfer_wind_m_per_s(speed_m_per_s: float, diameter_m: float, schmidt: float) -> float:
    """Return the mass-transfer coefficient of a pool in moving air [m/s].

    Parameters
    ----------
    speed_m_per_s air speed over the pool, > 0; the form was made for wind and runs low indoors
    diameter_m    of the pool, > 0
    schmidt       kinematic viscosity of air over diffusivity of the vapour, > 0

    Source
    ------
    Kawamura and Mackay 1987, "The evaporation of volatile liquids" (simple model), from slides.
    """
    speed = positive("air speed", speed_m_per_s, "m/s")
    diameter = positive("pool diameter", diameter_m, "m")
    number = positive("Schmidt number", schmidt, "")
    return float(0.0048 * speed ** (7 / 9) * diameter ** (-1 / 9) * number ** (-2 / 3))


def transfer_still_m_per_s(molar_mass_g_per_mol: float) -> float:
    """Return the mass-transfer coefficient without a wind term, ``0.0083 (18/M)^(1/3)`` [m/s].

    Source
    ------
    Evaporation exercise on a mix of two solvents, from a chemical process safety text (answers
    read second-hand).
    """
    molar = at_least("molar mass", molar_mass_g_per_mol, 1.0, "g/mol")
    return float(0.0083 * (18.0 / molar) ** (1 / 3))


def pool_rate_mg_per_s(
    transfer_m_per_s: ArrayLike,
    area_m2: ArrayLike,
    molar_mass_g_per_mol: float,
    vapour_kpa: float | None,
    temp_c: float,
    *,
    air_kpa: float = 0.0,
) -> Floats:
    """Return the evaporation rate of a pool, dish or wet swab [mg/s].

    Parameters
    ----------
    transfer_m_per_s from one of the two forms above [m/s]
    area_m2          wet surface [m2]
    vapour_kpa       vapour pressure at ``temp_c`` (times the mole fraction in a mixture) [kPa]
    air_kpa          partial pressure already in the air [kPa]

    Raises
    ------
    OutOfRange: no vapour pressure is known, or an input is out of range.

    Notes
    -----
    Evaporative cooling is left out: volatile liquids start slower, then run slower still.

    Source
    ------
    ``km A M (Pv - Pair) / (R T)``; same exercise as ``transfer_still_m_per_s``.
    """
    if vapour_kpa is None:
        raise OutOfRange("no vapour pressure is known", mend="judge it as all evaporated instead")
    molar = checked("molar mass", molar_mass_g_per_mol, "g/mol", 1.0)
    drive = max(within("vapour pressure", vapour_kpa, 0.0, 1e4, "kPa") - air_kpa, 0.0)
    kelvin = within("temperature", temp_c, -50.0, 100.0, "C") + ZERO_C_K
    flow = checked("mass transfer", transfer_m_per_s, "m/s") * checked("wet area", area_m2, "m2")
    return np.asarray(flow * molar * 1e3 * drive * 1e3 / (R_J_PER_MOL_K * kelvin))


def tube_rate_mg_per_s(
    area_m2: float,
    depth_m: float,
    *,
    diffusivity_m2_per_s: float,
    molar_mass_g_per_mol: float,
    vapour_kpa: float,
    temp_c: float,
    pressure_kpa: float = ATM_KPA,
) -> float:
    """Return the rate from a liquid at the bottom of an open vessel of still air [mg/s].

    Raises
    ------
    OutOfRange: the liquid would boil, or an input is out of range.

    Source
    ------
    Stefan diffusion, ``D P/(R T z) ln(P/(P - Pv))``; course handout "Evaporation examples from
    chapter 4" of an indoor air quality engineering text, section 4.5.4.
    """
    kelvin = within("temperature", temp_c, -50.0, 100.0, "C") + ZERO_C_K
    pressure = within("air pressure", pressure_kpa, 20.0, 200.0, "kPa")
    vapour = within("vapour pressure", vapour_kpa, 0.0, 1e4, "kPa")
    if vapour >= pressure:
        raise OutOfRange(
            f"vapour pressure {vapour:g} kPa reaches the air pressure {pressure:g} kPa",
            mend="the liquid boils here: judge it as all evaporated",
        )
    speed = positive("diffusivity", diffusivity_m2_per_s, "m2/s") / positive("depth", depth_m, "m")
    flux = (
        speed * pressure * 1e3 / (R_J_PER_MOL_K * kelvin) * np.log(pressure / (pressure - vapour))
    )
    molar = at_least("molar mass", molar_mass_g_per_mol, 1.0, "g/mol")
    return float(flux * at_least("wet area", area_m2, 0.0, "m2") * molar * 1e3)


def minutes_to_dry(mass_mg: float, rate_mg_per_s: float) -> float:
    """Return how long a mass lasts at a steady rate [min]; infinite at rate zero."""
    mass, rate = at_least("mass", mass_mg, 0.0, "mg"), at_least("rate", rate_mg_per_s, 0.0, "mg/s")
    if mass == 0.0:
        return 0.0
    return mass / rate / 60.0 if rate > 0.0 else float("inf")


def capped_by_saturation(level_mg_per_m3: ArrayLike, saturation_mg_per_m3: float | None) -> Floats:
    """Return the level, never above what air can hold; None means that no cap is known."""
    level = checked("level", level_mg_per_m3, "mg/m3")
    if saturation_mg_per_m3 is None:
        return level
    return np.asarray(np.minimum(level, checked("saturation", saturation_mg_per_m3, "mg/m3")))
