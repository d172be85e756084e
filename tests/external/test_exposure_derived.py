"""Figures that no document prints, checked by a second route (named beside each)."""

import chemicals
import pint
import pytest

from triage.exposure import emission, gas

UNITS = pint.UnitRegistry()


def test_one_ml_in_thirty_cubic_metres():
    # Second route: chemicals' conversion of the evaporated mass.
    mg = float(emission.total_mass_mg(1.0, 1.623)) / 30.0
    theirs = chemicals.mgm3_to_ppmv(mg, 165.833, T=298.15, P=101_325.0)
    assert float(gas.ppm_from_mg_per_m3(mg, 165.833)) == pytest.approx(theirs, rel=1e-9)
