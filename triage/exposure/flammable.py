"""Share of the lower flammable limit that a vapour reaches, and what a box can take."""

from __future__ import annotations

from collections.abc import Sequence

from triage.errors import OutOfRange
from triage.exposure.gas import ATM_KPA, LIMIT_TEMP_C, molar_volume_l, ppm_from_mg_per_m3
from triage.units import positive, within


def lel_fraction(
    level_mg_per_m3: float,
    molar_mass_g_per_mol: float,
    lel_percent: float,
    temp_c: float = LIMIT_TEMP_C,
    pressure_kpa: float = ATM_KPA,
) -> float:
    """Return level over lower flammable limit, 1 = can burn; in the room's own air, not at 25 C."""
    lel = within("lower flammable limit", lel_percent, 1e-6, 100.0, "%")
    ppm = ppm_from_mg_per_m3(level_mg_per_m3, molar_mass_g_per_mol, temp_c, pressure_kpa)
    return float(ppm) / (lel * 1e4)


def largest_in_box_ml(
    box_l: float,
    lel_percent: float,
    molar_mass_g_per_mol: float,
    density_g_per_ml: float,
    *,
    lel_share: float = 0.10,
    temp_c: float = LIMIT_TEMP_C,
    pressure_kpa: float = ATM_KPA,
) -> float:
    """Return the liquid that takes a closed box to a share of the lower flammable limit [mL].

    Notes
    -----
    Fully mixed and evaporated; heavy vapour lies at the bottom at saturation, so a liquid with
    a flash point near room temperature can flash at its surface whatever this figure says.

    Source
    ------
    Washington WAC 296-304-03009(2): 10 % of the limit for hand work with solvents.
    """
    mol = (
        positive("box", box_l, "L")
        * within("lower flammable limit", lel_percent, 1e-6, 100.0, "%")
        / 100.0
        * within("share of the limit", lel_share, 0.0, 1.0, "")
        / float(molar_volume_l(temp_c, pressure_kpa))
    )
    grams = mol * positive("molar mass", molar_mass_g_per_mol, "g/mol")
    return grams / positive("density", density_g_per_ml, "g/mL")


def mixture_lel_percent(parts: Sequence[float], lels_percent: Sequence[float]) -> float:
    """Return the lower flammable limit of a vapour mix [%], ``1 / sum(y/LFL)``.

    Parameters
    ----------
    parts        amounts of the fuels alone (any common unit), > 0 in sum
    lels_percent one limit for each [%]

    Source
    ------
    Le Chatelier; Crowl and Louvar 2001, as worked in chemicals 1.5.2, ``fire_mixing``.
    """
    if len(parts) != len(lels_percent) or not parts or min(parts) < 0.0:
        raise OutOfRange("fuel parts and limits do not pair", mend="give one limit for each part")
    total = positive("sum of fuel parts", sum(parts), "")
    return 1.0 / sum(
        part / total / positive("lower flammable limit", lel, "%")
        for part, lel in zip(parts, lels_percent, strict=True)
    )
