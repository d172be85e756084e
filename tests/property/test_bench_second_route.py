"""Bench arithmetic by a second route or an identity, where no printed number was found.

What is printed somewhere stands in ``tests/external``.
"""

import pytest

from tests.support.knowledge import shipped
from triage.bench.chamber import (
    critical_rh_percent,
    vapour_density_mg_per_l,
    water_to_reach_mg,
    weeks_to_first_growth,
)
from triage.bench.stock import (
    acid_ml_per_litre,
    strengths_after_body_water,
    weak_base_ph,
)
from triage.bench.storage import crystals_last, gel_for_box, opening_pulse_mg
from triage.exposure.gas import saturation_mg_per_m3
from triage.knowledge.agents import Hansen
from triage.plan.liquids import hansen_distance

# --- pH: charge balance solved by scipy, with water's own ions in it ---------------------------


def _ph_by_charge_balance(acid=0.0, base=0.0, kb=1.0):
    from scipy.optimize import brentq

    def charge(ph):
        h = 10.0**-ph
        oh = 1e-14 / h
        return h + base * kb / (kb + oh) - oh - acid

    return brentq(charge, 0, 14, xtol=1e-12)


@pytest.mark.parametrize("base", [1, 0.5, 0.1, 0.01])
def test_ammonia_ph_by_charge_balance(base):
    kb = shipped().doses["ammonia-base-constant"].most
    assert weak_base_ph(base, kb) == pytest.approx(
        _ph_by_charge_balance(base=base, kb=kb), abs=0.001
    )


@pytest.mark.parametrize("changes", [1, 2, 5])
def test_body_water_by_following_the_solute(changes):
    # route: move the solute change by change instead of by the closed form
    fluid, water, poured = 95.0, 0.75, 3.0
    in_body = 0.0
    for _ in range(changes):
        strength = (poured * fluid + water * in_body) / (poured + water)
        in_body = strength
    assert strengths_after_body_water(fluid, poured, water, changes)[-1] == pytest.approx(strength)


# --- mould: scipy's integrator ----------------------------------------------------------------


def test_critical_humidity_is_continuous_and_never_under_80():
    # identity: the cubic meets 80 near 20 C (0.04 above it)
    assert critical_rh_percent(20) == pytest.approx(80, abs=0.05)
    assert all(critical_rh_percent(t) >= 80 for t in (0.5, 5, 10, 15, 20, 25, 40))
    assert critical_rh_percent(0.1) == pytest.approx(100, abs=0.4)


def test_mould_time_halves_as_the_exponents_say():
    # identity: doubling the temperature shortens the time by 2^0.68
    assert weeks_to_first_growth(10, 97) / weeks_to_first_growth(20, 97) == pytest.approx(2**0.68)


# --- vapour and gel ----------------------------------------------------------------------------


def test_old_dose_is_a_stock_not_a_level():
    # identity: dose over saturation is the ratio, and the stock lasts ratio days at one change a day
    doses = shipped().doses
    level = saturation_mg_per_m3(0.168, 147.0, 20) / 1000
    crystals = 5 * doses["store-old-dose-p-dichlorobenzene"].most
    ratio, lasts_days = crystals_last(crystals, 5, level, 1.0)
    assert ratio == pytest.approx(doses["store-old-dose-p-dichlorobenzene"].most / level)
    assert lasts_days == pytest.approx(ratio)
    assert crystals / ratio == pytest.approx(opening_pulse_mg(5, level))


def test_water_for_a_box_by_the_reference_library():
    # route: chemicals' vapour pressure of water (IAPWS) and the ideal gas
    from chemicals.iapws import iapws95_Psat

    expected = 5 * iapws95_Psat(293.15) * 18.015 / (8.314462618 * 293.15)
    assert water_to_reach_mg(5, 20, 0, 100) == pytest.approx(expected, rel=0.003)


def test_gel_balance_closes():
    # identity: water in gel at the end = water given off by air and insects
    gel = shipped().gels["narrow-pore-gel"]
    water_mg, least_g = gel_for_box(gel, 5, 20, (80, 40), 50, 0.02)
    given_off = 50 + 5 * (vapour_density_mg_per_l(20, 80) - vapour_density_mg_per_l(20, 40))
    taken_up = least_g * 1000 * (0.16 - 0.02)  # 0.16: halfway rule between the two rows
    assert taken_up == pytest.approx(given_off) == pytest.approx(water_mg)


# --- Hansen ------------------------------------------------------------------------------------


def parameters(d, p, h):
    return Hansen(d=d, p=p, h=h, source="chemicals-1.5.2")


@pytest.mark.parametrize(
    ("other", "expected"),
    [
        ((16, 5, 7), 0.0),
        ((17, 5, 7), 2.0),
        ((16, 6, 7), 1.0),
        ((16, 5, 8), 1.0),
        ((16, 8, 11), 5.0),
    ],
)
def test_distance_identities(other, expected):
    assert hansen_distance(parameters(16, 5, 7), parameters(*other)) == pytest.approx(expected)


@pytest.mark.parametrize("ph", [1.5, 2.0, 2.5])
def test_acid_bath_returns_its_ph(ph):
    # identity: the mL per litre, taken back to mol/L, has the pH asked for
    acid = acid_ml_per_litre(ph, 12.1) / 1000 * 12.1
    assert _ph_by_charge_balance(acid=acid) == pytest.approx(ph, abs=0.001)
