"""The two zones in closed form against scipy's matrix exponential: a second route, no document.

The two-zone parameter sets are published (B2Z 1.4, data set ex1: beta 5, Q 13.8, G 351.5,
VN pi*1e-3, VF 3.8; and the inputs of a public teaching code: beta 5, Q 20, G 100, VN 8, VF 92);
their answers are checked here.
"""

import math

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from scipy.linalg import expm

from triage.exposure.near_field import TwoZones, two_zone_levels

B2Z = TwoZones(math.pi * 1e-3, 3.8, 5.0, 13.8)
TEACHING = TwoZones(8.0, 92.0, 5.0, 20.0)


def exponentiate_zones(zones, rate, minutes, start=(0.0, 0.0)):
    """Return both levels by the matrix exponential of the system with its source."""
    near, far, beta = zones.near_m3, zones.far_m3, zones.near_flow_m3_per_min
    system = np.array(
        [
            [-beta / near, beta / near, rate / near],
            [beta / far, -(beta + zones.room_flow_m3_per_min) / far, 0.0],
            [0.0, 0.0, 0.0],
        ]
    )
    return (expm(system * minutes) @ np.array([*start, 1.0]))[:2]


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
