"""Conversions, saturation and pressure by a second route: pint, the chemicals library, an integrator.

The library's Antoine curve is only the shape between points here; no pressure is held against it.
"""

import chemicals
import numpy as np
import pint
import pytest
from chemicals.vapor_pressure import Antoine
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import solve_ivp

from triage.exposure import gas

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
