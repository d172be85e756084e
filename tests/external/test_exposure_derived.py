"""Figures that no document prints, checked by a second route (named beside each)."""

import math

import chemicals
import pint
import pytest

from triage.exposure import emission, flammable, gas, room

UNITS = pint.UnitRegistry()


@pytest.mark.parametrize(
    ("cas", "lel"), [("64-17-5", 3.3), ("67-63-0", 2.0), ("67-64-1", 2.5), ("142-82-5", 1.05)]
)
@pytest.mark.parametrize("share", [0.10, 0.25])
def test_liquid_in_a_box_reaches_the_share_of_the_limit(cas, lel, share):
    # Second route: pint and the library's molar mass, forwards from the liquid to the vapour.
    molar, density = chemicals.MW(cas), 0.79
    ml = flammable.largest_in_box_ml(30.0, lel, molar, density, lel_share=share)
    mol = (ml * UNITS.mL) * (density * UNITS.g / UNITS.mL) / (molar * UNITS.g / UNITS.mol)
    air = (101.325 * UNITS.kPa) * (30.0 * UNITS.L) / (UNITS.molar_gas_constant * 298.15 * UNITS.K)
    assert (mol / air).to("").magnitude == pytest.approx(share * lel / 100.0, rel=1e-6)
    # So one wet swab of 0.3 mL takes a 30 L box over a tenth of the limit.
    assert ml < 0.3 or share > 0.1


def test_pool_rate_agrees_with_pint():
    rate = emission.pool_rate_mg_per_s(7.33e-4, math.pi * 0.025**2, 165.83, 2.466, 25.0)
    density = (2.466 * UNITS.kPa) * (165.83 * UNITS.g / UNITS.mol)
    density = density / (UNITS.molar_gas_constant * 298.15 * UNITS.K)
    theirs = (7.33e-4 * UNITS.m / UNITS.s) * (math.pi * 0.025**2 * UNITS.m**2) * density
    assert float(rate) == pytest.approx(theirs.to("mg/s").magnitude, rel=1e-7)
    # Vapour already in the air slows it; saturated air stops it, and never turns it round.
    half = emission.pool_rate_mg_per_s(7.33e-4, 1.0, 165.83, 2.466, 25.0, air_kpa=1.233)
    full = emission.pool_rate_mg_per_s(7.33e-4, 1.0, 165.83, 2.466, 25.0)
    assert float(half) == pytest.approx(0.5 * float(full))
    assert float(emission.pool_rate_mg_per_s(1.0, 1.0, 165.83, 2.0, 25.0, air_kpa=3.0)) == 0.0


@pytest.mark.parametrize("hours", [0.5, 1.0, 2.0, 4.0])
def test_room_at_half_an_air_change_keeps_pace_with_twice_the_time(hours):
    # Identity: the level depends on air changes times time only.
    one = room.pulse_level(1.0, 30.0, room.decay_per_min(0.5), hours * 60.0)
    other = room.pulse_level(1.0, 30.0, room.decay_per_min(1.0), hours * 30.0)
    assert float(one) == pytest.approx(float(other), rel=1e-12)


def test_one_ml_in_thirty_cubic_metres():
    # Second route: chemicals' conversion of the evaporated mass.
    mg = float(emission.total_mass_mg(1.0, 1.623)) / 30.0
    theirs = chemicals.mgm3_to_ppmv(mg, 165.833, T=298.15, P=101_325.0)
    assert float(gas.ppm_from_mg_per_m3(mg, 165.833)) == pytest.approx(theirs, rel=1e-9)
