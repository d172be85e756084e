"""The two zones in closed form against scipy's integrator: a second route, no document.

The two-zone parameter sets are published (B2Z 1.4, data set ex1: beta 5, Q 13.8, G 351.5,
VN pi*1e-3, VF 3.8; and the inputs of a public teaching code: beta 5, Q 20, G 100, VN 8, VF 92);
their answers are checked by stiff integration here.
"""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.linalg import expm

from triage.exposure.near_field import TwoZones, two_zone_levels

B2Z = TwoZones(math.pi * 1e-3, 3.8, 5.0, 13.8)
TEACHING = TwoZones(8.0, 92.0, 5.0, 20.0)


def integrate_zones(zones, rate, times, stop=np.inf, start=(0.0, 0.0)):
    """Integrate mass balance of both zones, stopped and restarted where the source stops."""

    def balance(_, level, source):
        near, far = level
        exchange = zones.near_flow_m3_per_min * (far - near)
        return [
            (source + exchange) / zones.near_m3,
            (-exchange - zones.room_flow_m3_per_min * far) / zones.far_m3,
        ]

    def run(begin, end, level, source, at):
        return solve_ivp(
            balance, (begin, end), level, "Radau", t_eval=at, args=(source,), rtol=1e-10, atol=1e-12
        )

    times = np.asarray(times, dtype=float)
    early = times < stop
    if early.all():
        return run(0.0, times.max(), start, rate, times).y
    first = run(0.0, stop, start, rate, np.append(times[early], stop))
    late = run(stop, times.max(), first.y[:, -1], 0.0, times[~early])
    return np.hstack([first.y[:, :-1], late.y])


def exponentiate_zones(zones, rate, minutes, start=(0.0, 0.0)):
    """Second independent route: one matrix exponential of the system with its source."""
    near, far, beta = zones.near_m3, zones.far_m3, zones.near_flow_m3_per_min
    system = np.array(
        [
            [-beta / near, beta / near, rate / near],
            [beta / far, -(beta + zones.room_flow_m3_per_min) / far, 0.0],
            [0.0, 0.0, 0.0],
        ]
    )
    return (expm(system * minutes) @ np.array([*start, 1.0]))[:2]


@pytest.mark.parametrize(
    ("zones", "rate"), [(B2Z, 351.5), (TEACHING, 100.0)], ids=["b2z-ex1", "teaching"]
)
@pytest.mark.parametrize("stop", [np.inf, 0.5])
def test_two_zones(zones, rate, stop):
    times = np.array([0.01, 0.04, 0.2, 0.5, 0.6, 1.0, 5.0, 15.0])
    near, far = two_zone_levels(zones, rate, times, min(stop, 1e12))
    expected = integrate_zones(zones, rate, times, stop)
    scale = expected.max()
    assert near == pytest.approx(expected[0], rel=1e-6, abs=1e-8 * scale)
    assert far == pytest.approx(expected[1], rel=1e-6, abs=1e-8 * scale)


def test_a_decay_with_the_slow_rate_alone_is_wrong():
    # The trap: one public teaching code drops the second term once the source has stopped.
    stop, later = 60.0, np.array([61.0, 62.0, 65.0])
    near, _ = two_zone_levels(TEACHING, 100.0, later, stop)
    at_stop, _ = two_zone_levels(TEACHING, 100.0, stop)
    slow, _ = TEACHING.rates()
    dropped = at_stop[0] * np.exp(slow * (later - stop))
    expected = integrate_zones(TEACHING, 100.0, later, stop)[0]
    assert near == pytest.approx(expected, rel=1e-6)
    assert (np.abs(dropped - expected) > 0.05 * expected).all()


def test_steady_state_is_reached():
    # Identity of the model: CF = G/Q, CN = G/Q + G/beta.
    for zones, rate in ((B2Z, 351.5), (TEACHING, 100.0)):
        near, far = two_zone_levels(zones, rate, 10_000.0)
        expected = rate / zones.room_flow_m3_per_min
        assert far[0] == pytest.approx(expected, rel=1e-9)
        assert near[0] == pytest.approx(expected + rate / zones.near_flow_m3_per_min, rel=1e-9)


def test_everything_in_the_near_field_at_once():
    zones = TwoZones(0.26, 29.74, 2.8, 0.25)
    times = np.array([0.05, 0.2, 1.0, 10.0, 100.0])
    found = two_zone_levels(zones, 0.0, times, 0.0, (1000.0, 0.0))
    assert np.array(found) == pytest.approx(
        integrate_zones(zones, 0.0, times, np.inf, (1000.0, 0.0)), rel=1e-6
    )


@settings(deadline=None)
@given(st.floats(0.01, 1.0), st.floats(2.0, 200.0), st.floats(0.1, 20.0), st.floats(0.0, 20.0))
def test_two_zones_for_any_room(near_m3, far_m3, beta, flow):
    zones = TwoZones(near_m3, far_m3, beta, flow)
    at_stop = exponentiate_zones(zones, 100.0, 20.0)
    for minutes in (0.1, 1.0, 10.0, 20.0, 20.3, 45.0):
        found = [level[0] for level in two_zone_levels(zones, 100.0, minutes, 20.0)]
        expected = exponentiate_zones(zones, 100.0, min(minutes, 20.0))
        if minutes > 20.0:
            expected = exponentiate_zones(zones, 0.0, minutes - 20.0, at_stop)
        assert found == pytest.approx(expected, rel=1e-7, abs=1e-9)
