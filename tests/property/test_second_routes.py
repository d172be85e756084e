"""Arithmetic of bench and air by a second route or an identity, where no printed number was found.

Another library, an integrator or a matrix exponential works it out again; what is printed somewhere
stands in ``tests/external``. The two-zone parameter sets are published (B2Z 1.4, data set ex1: beta 5,
Q 13.8, G 351.5, VN pi*1e-3, VF 3.8; and the inputs of a public teaching code: beta 5, Q 20, G 100,
VN 8, VF 92); their answers are checked here.
"""

import math

import chemicals
import numpy as np
import pint
import pytest
from chemicals.iapws import iapws95_Psat
from chemicals.vapor_pressure import Antoine
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.linalg import expm
from scipy.optimize import brentq

from tests.support.knowledge import shipped
from triage.bench import chamber, stock
from triage.bench.storage import crystals_last, gel_for_box, opening_pulse_mg
from triage.exposure import gas
from triage.exposure.near_field import TwoZones, two_zone_levels
from triage.knowledge.agents import Hansen
from triage.plan.liquids import hansen_distance

# --- pH: charge balance solved by scipy, with water's own ions in it ---------------------------


def ph_by_charge_balance(acid=0.0, base=0.0, kb=1.0):
    def charge(ph):
        h = 10.0**-ph
        oh = 1e-14 / h
        return h + base * kb / (kb + oh) - oh - acid

    return brentq(charge, 0, 14, xtol=1e-12)


@pytest.mark.parametrize("base", [1, 0.5, 0.1, 0.01])
def test_ammonia_ph_by_charge_balance(base):
    kb = shipped().doses["ammonia-base-constant"].most
    expected = ph_by_charge_balance(base=base, kb=kb)
    assert stock.weak_base_ph(base, kb) == pytest.approx(expected, abs=0.001)


@pytest.mark.parametrize("ph", [1.5, 2.0, 2.5])
def test_acid_bath_returns_its_ph(ph):
    # identity: the mL per litre, taken back to mol/L, has the pH asked for
    acid = stock.acid_ml_per_litre(ph, 12.1) / 1000 * 12.1
    assert ph_by_charge_balance(acid=acid) == pytest.approx(ph, abs=0.001)


@pytest.mark.parametrize("changes", [1, 2, 5])
def test_body_water_by_following_the_solute(changes):
    # route: move the solute change by change instead of by the closed form
    fluid, water, poured = 95.0, 0.75, 3.0
    strength = 0.0
    for _ in range(changes):
        strength = (poured * fluid + water * strength) / (poured + water)
    assert stock.strengths_after_body_water(fluid, poured, water, changes)[-1] == pytest.approx(
        strength
    )


# --- mould: scipy's integrator ----------------------------------------------------------------


def test_critical_humidity_is_continuous_and_never_under_80():
    # identity: the cubic meets 80 near 20 C (0.04 above it)
    assert chamber.critical_rh_percent(20) == pytest.approx(80, abs=0.05)
    assert all(chamber.critical_rh_percent(t) >= 80 for t in (0.5, 5, 10, 15, 20, 25, 40))
    assert chamber.critical_rh_percent(0.1) == pytest.approx(100, abs=0.4)
    # identity: doubling the temperature shortens the time by 2^0.68
    assert chamber.weeks_to_first_growth(10, 97) / chamber.weeks_to_first_growth(
        20, 97
    ) == pytest.approx(2**0.68)


# --- vapour and gel ----------------------------------------------------------------------------


def test_old_dose_is_a_stock_not_a_level():
    # identity: dose over saturation is the ratio, and the stock lasts ratio days at one change a day
    dose = shipped().doses["store-old-dose-p-dichlorobenzene"].most
    level = gas.saturation_mg_per_m3(0.168, 147.0, 20) / 1000
    ratio, lasts_days = crystals_last(5 * dose, 5, level, 1.0)
    assert ratio == pytest.approx(dose / level)
    assert lasts_days == pytest.approx(ratio)
    assert 5 * dose / ratio == pytest.approx(opening_pulse_mg(5, level))


def test_water_for_a_box_by_the_reference_library():
    # route: chemicals' vapour pressure of water (IAPWS) and the ideal gas
    expected = 5 * iapws95_Psat(293.15) * 18.015 / (8.314462618 * 293.15)
    assert chamber.water_to_reach_mg(5, 20, 0, 100) == pytest.approx(expected, rel=0.003)


@pytest.mark.parametrize(
    ("other", "expected"),
    [((16, 5, 7), 0), ((17, 5, 7), 2), ((16, 6, 7), 1), ((16, 5, 8), 1), ((16, 8, 11), 5)],
)
def test_distance_identities(other, expected):
    one, two = (Hansen(d=d, p=p, h=h, source="x") for d, p, h in ((16, 5, 7), other))
    assert hansen_distance(one, two) == pytest.approx(expected)


def test_gel_balance_closes():
    # identity: water in gel at the end = water given off by air and insects
    gel = shipped().gels["narrow-pore-gel"]
    water_mg, least_g = gel_for_box(gel, 5, 20, (80, 40), 50, 0.02)
    given_off = 50 + 5 * (
        chamber.vapour_density_mg_per_l(20, 80) - chamber.vapour_density_mg_per_l(20, 40)
    )
    taken_up = least_g * 1000 * (0.16 - 0.02)  # 0.16: halfway rule between the two rows
    assert taken_up == pytest.approx(given_off) == pytest.approx(water_mg)


UNITS = pint.UnitRegistry()
ppm = st.floats(1e-3, 1e5)
molar = st.floats(2.0, 500.0)
temp = st.floats(-20.0, 60.0)
kpa = st.floats(50.0, 110.0)


@given(ppm, molar, temp, kpa)
def test_ppm_to_mg_and_back_agree_with_chemicals(level, mass, temp_c, pressure):
    ours = float(gas.mg_per_m3_from_ppm(level, mass, temp_c, pressure))
    theirs = chemicals.ppmv_to_mgm3(level, mass, T=temp_c + 273.15, P=pressure * 1e3)
    assert ours == pytest.approx(theirs, rel=1e-9)
    assert gas.ppm_from_mg_per_m3(ours, mass, temp_c, pressure) == pytest.approx(level, rel=1e-9)


@given(molar, temp, st.floats(1e-4, 100.0))
def test_saturation_agrees_with_pint(mass, temp_c, vapour):
    kelvin = UNITS.Quantity(temp_c, UNITS.degC).to("kelvin")
    density = (vapour * UNITS.kPa) * (mass * UNITS.g / UNITS.mol)
    theirs = (density / (UNITS.molar_gas_constant * kelvin)).to("mg/m**3").magnitude
    assert float(gas.saturation_mg_per_m3(vapour, mass, temp_c)) == pytest.approx(theirs, rel=1e-8)


@given(temp, kpa)
def test_molar_volume_agrees_with_pint(temp_c, pressure):
    kelvin = UNITS.Quantity(temp_c, UNITS.degC).to("kelvin")
    theirs = (UNITS.molar_gas_constant * kelvin / (pressure * UNITS.kPa)).to("L/mol").magnitude
    assert float(gas.molar_volume_l(temp_c, pressure)) == pytest.approx(theirs, rel=1e-8)


@pytest.mark.parametrize("height", [-400.0, 500.0, 1500.0, 3000.0, 5500.0])
def test_pressure_by_height_solves_the_hydrostatic_balance(height):
    # Independent route: dp/dh = -g M p/(R T) with the standard lapse, integrated.
    def slope(h, p):
        return -9.80665 * 0.0289644 * p / (8.31432 * (288.15 - 0.0065 * h))

    found = solve_ivp(slope, (0.0, height), [101.325], rtol=1e-10, atol=1e-12).y[0, -1]
    assert gas.pressure_at_altitude_kpa(height) == pytest.approx(found, rel=1e-8)


def _antoine(cas, kelvin):
    chemicals.vapor_pressure.load_vapor_pressure_dfs()
    row = chemicals.vapor_pressure.Psat_data_AntoinePoling.loc[cas]
    return Antoine(kelvin, row["A"], row["B"], row["C"]) / 1e3


@pytest.mark.parametrize("cas", ["108-88-3", "67-64-1", "142-82-5"])
@pytest.mark.parametrize("temp_c", [16.0, 20.0, 22.5, 27.0])
def test_vapour_pressure_between_points_agrees_with_antoine(cas, temp_c):
    # chemicals 1.5.2, table AntoinePoling: the points are its values at 15, 25 and 30 C.
    points = tuple((t, _antoine(cas, t + 273.15)) for t in (15.0, 25.0, 30.0))
    ours = gas.vapour_kpa_at(points, temp_c)
    assert ours == pytest.approx(_antoine(cas, temp_c + 273.15), rel=2e-3)


def test_a_straight_line_in_temperature_would_be_wrong():
    points = ((0.0, _antoine("67-64-1", 273.15)), (40.0, _antoine("67-64-1", 313.15)))
    true = _antoine("67-64-1", 293.15)
    line = np.interp(20.0, [0.0, 40.0], [points[0][1], points[1][1]])
    assert abs(gas.vapour_kpa_at(points, 20.0) - true) < 0.1 * abs(line - true)


B2Z = TwoZones(math.pi * 1e-3, 3.8, 5.0, 13.8)
TEACHING = TwoZones(8.0, 92.0, 5.0, 20.0)


def exponentiate_zones(zones, rate, minutes, start=(0.0, 0.0)):
    """Return both levels by the matrix exponential of the system with its source."""
    near, far, beta = zones.near_m3, zones.far_m3, zones.near_flow_m3_per_min
    out = (beta + zones.room_flow_m3_per_min) / far
    rows = [[-beta / near, beta / near, rate / near], [beta / far, -out, 0.0], [0.0, 0.0, 0.0]]
    return (expm(np.array(rows) * minutes) @ np.array([*start, 1.0]))[:2]


def test_a_decay_with_the_slow_rate_alone_is_wrong():
    # The trap: one public teaching code drops the second term once the source has stopped.
    at_stop = exponentiate_zones(TEACHING, 100.0, 60.0)
    slow, _ = TEACHING.rates()
    for later in (1.0, 2.0, 5.0):
        (near,), _ = two_zone_levels(TEACHING, 100.0, 60.0 + later, 60.0)
        expected = exponentiate_zones(TEACHING, 0.0, later, at_stop)[0]
        assert near == pytest.approx(expected, rel=1e-6)
        assert abs(at_stop[0] * np.exp(slow * later) - expected) > 0.05 * expected


def test_steady_state_is_reached():
    # Identity of the model: CF = G/Q, CN = G/Q + G/beta.
    for zones, rate in ((B2Z, 351.5), (TEACHING, 100.0)):
        near, far = two_zone_levels(zones, rate, 10_000.0)
        expected = rate / zones.room_flow_m3_per_min
        assert far[0] == pytest.approx(expected, rel=1e-9)
        assert near[0] == pytest.approx(expected + rate / zones.near_flow_m3_per_min, rel=1e-9)


@settings(deadline=None)
@example(B2Z, 351.5, 0.0)
@example(TEACHING, 100.0, 0.0)
@example(TwoZones(0.26, 29.74, 2.8, 0.25), 0.0, 1000.0)
@given(
    st.builds(
        TwoZones,
        *(st.floats(0.01, 1.0), st.floats(2.0, 200.0), st.floats(0.1, 20.0), st.floats(0.0, 20.0)),
    ),
    st.floats(0.0, 400.0),
    st.sampled_from([0.0, 1000.0]),
)
def test_two_zones_for_any_room(zones, rate, begun):
    """By one matrix exponential while the source runs, and another behind it."""
    start = (begun, 0.0)
    at_stop = exponentiate_zones(zones, rate, 20.0, start)
    for minutes in (0.01, 0.1, 1.0, 10.0, 20.0, 20.3, 45.0):
        found = [level[0] for level in two_zone_levels(zones, rate, minutes, 20.0, start)]
        expected = exponentiate_zones(zones, rate, min(minutes, 20.0), start)
        if minutes > 20.0:
            expected = exponentiate_zones(zones, 0.0, minutes - 20.0, at_stop)
        assert found == pytest.approx(expected, rel=1e-7, abs=1e-9 * max(rate, begun, 1.0))
