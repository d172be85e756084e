"""Share of the lower flammable limit that a vapour reaches."""

from __future__ import annotations

from triage.exposure.gas import ATM_KPA, LIMIT_TEMP_C, ppm_from_mg_per_m3
from triage.units import within


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
