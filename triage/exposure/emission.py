"""How much vapour leaves a liquid, and how fast: bound, decaying source, pool, tube, drops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from triage.errors import OutOfRange
from triage.exposure.gas import R_J_PER_MOL_K, ZERO_C_K
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
