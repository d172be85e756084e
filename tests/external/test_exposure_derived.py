"""Figures that no document prints, checked by a second route (named beside each)."""

import math

import chemicals
import pint
import pytest
from scipy.integrate import quad

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


def test_tube_diffusion_is_the_integral_over_the_depth():
    # Stefan: the flux N is the one for which the mole fraction falls from Pv/P to 0 over z,
    # dy/dz = -N R T (1 - y)/(D P). Inputs of the drum example (course handout, section 4.5.4).
    area, depth, diffusivity, molar, kpa, temp_c = 0.25, 0.813, 0.797e-5, 165.8, 2.466, 25.0
    found = emission.tube_rate_mg_per_s(
        area, depth, diffusivity_m2_per_s=diffusivity, molar_mass_g_per_mol=molar,
        vapour_kpa=kpa, temp_c=temp_c,
    )  # fmt: skip
    steps = quad(lambda y: 1.0 / (1.0 - y), 0.0, kpa / 101.325)[0]
    flux = diffusivity * 101_325.0 / (8.314462618 * 298.15 * depth) * steps
    assert found == pytest.approx(flux * area * molar * 1e3, rel=1e-9)


def test_wind_form_agrees_with_the_older_form_in_metres_per_hour():
    # 0.0292 u^0.78 d^-0.11 Sc^-0.67 with u in m/h gives m/h (older form, from memory).
    speed, diameter, schmidt = 0.1, 0.05, 1.882
    older = 0.0292 * (speed * 3600.0) ** 0.78 * diameter**-0.11 * schmidt**-0.67 / 3600.0
    assert emission.transfer_wind_m_per_s(speed, diameter, schmidt) == pytest.approx(
        older, rel=0.02
    )


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


def test_rate_of_the_drying_source_integrates_to_what_it_gave_off():
    area = quad(lambda t: float(emission.exponential_rate_mg_per_min(4869.0, 0.05, t)), 0, 40)[0]
    assert float(emission.exponential_emitted_mg(4869.0, 0.05, 40.0)) == pytest.approx(area)


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
