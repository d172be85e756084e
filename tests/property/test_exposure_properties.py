"""Properties that hold for any room and any release: mass, order, bounds."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from triage.exposure.day import DayLedger, Release, judge_day
from triage.exposure.judge import judge_release
from triage.exposure.near_field import release_curve
from triage.exposure.space import EXACT, Band, Room, Superposition, corners
from triage.exposure.step import Terms
from triage.exposure.substance import Limit, Substance

several = settings(deadline=None, max_examples=50)

mass = st.floats(1e-3, 1e6)

ACETONE = Substance(
    "acetone", 58.08, 0.791, ((20.0, 24.7), (25.0, 30.8)), 2.5, -20.0,
    (Limit("a", "twa", 590.0), Limit("b", "stel", 1780.0), Limit("c", "ceiling", 5000.0)),
)  # fmt: skip
HEPTANE = Substance("heptane", 100.2, 0.684, (), 0.85, -7.0, (Limit("a", "twa", 350.0),))


def rooms(**fixed):
    parts = {
        "volume_m3": st.floats(5.0, 500.0),
        "air_changes_per_h": st.one_of(st.none(), st.floats(0.0, 30.0)),
        "mixing_factor": st.floats(1.0, 10.0),
        "near_field_radius_m": st.floats(0.2, 1.0),
        "air_speed_m_per_min": st.floats(0.5, 60.0),
    }
    parts.update({key: st.just(value) for key, value in fixed.items()})
    return st.builds(Room, **parts)


# -- conservation: emitted = removed + in the room -------------------------------------------


days = st.lists(
    st.tuples(st.floats(0.0, 700.0), st.floats(0.1, 1e4), st.floats(0.0, 60.0)),
    min_size=1,
    max_size=12,
)


@several
@given(days, rooms(band=EXACT))
def test_day_conserves_mass(rows, where):
    rows.sort()
    minute, amount, last = np.array(rows).T
    day = Superposition(minute, last, where, corners(where))
    window = 2000.0  # holds the whole day when it starts at the first release
    mean = day.at_starts(amount, window)[0][0, 1]
    decay_rate = day.decay[1]
    left = sum(a * np.exp(-decay_rate * (minute[0] + window - t)) for t, a, _ in rows)
    removed = decay_rate * where.volume_m3 * mean * window
    # At the floor that stands for no air the carried-away mass is a difference of equal figures.
    assert removed + left == pytest.approx(amount.sum(), rel=1e-6)


# -- order: monotone in amount, falling in ventilation, near >= far --------------------------


def figures(verdict, place):
    return [each for level in getattr(verdict, place) for each in level]


amounts = st.floats(0.0, 20.0)


def pairs(one, other):
    """Yield each level of one verdict beside that of another, in the room and at the face."""
    for place in ("room", "near"):
        yield from zip(figures(one, place), figures(other, place), strict=True)


@several
@given(rooms(), amounts, amounts, st.floats(0.0, 60.0))
def test_levels_rise_with_the_amount(where, one, other, last):
    low, high = (judge_release(ACETONE, ml, where, last) for ml in sorted((one, other)))
    for small, large in pairs(low, high):
        assert small <= large * (1 + 1e-9) + 1e-12
    assert low.exceeded_by <= high.exceeded_by * (1 + 1e-9)


@several
@given(rooms(), amounts, st.floats(0.0, 30.0), st.floats(0.0, 30.0), st.floats(0.0, 60.0))
def test_levels_fall_with_ventilation(where, ml, one, other, last):
    unknown, few, many = (
        judge_release(ACETONE, ml, replace(where, air_changes_per_h=changes), last)
        for changes in (None, *sorted((one, other)))
    )
    for worse, better in (*pairs(unknown, few), *pairs(few, many)):
        assert better <= worse * (1 + 1e-7) + 1e-12


@several
@given(rooms(), amounts, st.floats(0.0, 60.0))
def test_the_face_is_never_below_the_room_nor_the_peak_below_the_means(where, ml, last):
    found = judge_release(ACETONE, ml, where, last)
    for near, far in zip(figures(found, "near"), figures(found, "room"), strict=True):
        assert near >= far
    for place in (found.room, found.near):
        for end in ("low", "mid", "high"):
            peak = getattr(place.peak, end) * (1 + 1e-7)
            assert max(getattr(m, end) for m in (place.mean_15_min, place.mean_8_h)) <= peak
    soaked = judge_release(ACETONE, (1.0 + ml) * 2500.0, where, last)
    saturated = 24_700.0 * 58.08 * 1000.0 / (8.314 * 293.15)
    assert max(figures(soaked, "near")) <= saturated * 1.001


@several
@given(rooms(), mass, st.floats(0.0, 60.0))
def test_the_face_is_never_below_the_room_in_the_curve_while_it_evaporates(where, mg, last):
    found = release_curve(mg, last, where, until_min=max(last, 1.0), points=40)
    near, far = np.array(found.near_mg_per_m3), np.array(found.room_mg_per_m3)
    assert (near >= far * (1 - 1e-6) - 1e-12).all()


@several
@given(rooms(band=EXACT), mass, st.floats(0.5, 60.0))
def test_judged_levels_bound_the_two_zone_solution(where, mg, last):
    # The judged face is room at once + near-field box; the exact two-zone curve stays below it,
    # but for the near field's own share of the volume that the room bound counts as mixed in.
    day = Superposition(np.array([0.0]), np.array([last]), where, corners(where))
    near = day.worst(np.array([mg]), 0.0)[1][1]
    exact = release_curve(mg, last, where, until_min=2.0 * last + 10.0, points=300)
    slack = where.volume_m3 / (where.volume_m3 - where.near_m3)
    assert max(exact.near_mg_per_m3) <= near * slack * (1 + 1e-9)


# -- inverse and ledger ----------------------------------------------------------------------


def ledger_of(rows, part=1.0):
    return DayLedger(
        tuple(Release(t, m * part, "heptane", last) for t, m, last in rows), (HEPTANE,)
    )


@several
@given(rooms(), st.floats(0.0, 30.0), days)
def test_the_largest_amount_is_ok_and_a_little_more_is_not(where, last, rows):
    terms = Terms(ledger=ledger_of(rows, 1e-3))
    largest = judge_release(ACETONE, 0.0, where, last, terms).largest_ok_ml
    assert largest is not None
    assume(largest > 1e-9)
    at, above = (judge_release(ACETONE, largest * by, where, last, terms) for by in (1.0, 1.01))
    assert at.verdict == "ok"
    assert at.exceeded_by <= 1.0 + 1e-9
    assert above.verdict == "over" or above.near.peak.high >= 5e5  # saturated


@several
@given(rooms(), days, st.floats(0.01, 5.0))
def test_a_day_never_makes_a_step_better(where, rows, ml):
    alone = judge_release(ACETONE, ml, where, 5.0)
    after = judge_release(ACETONE, ml, where, 5.0, Terms(ledger=ledger_of(rows)))
    assert after.exceeded_by >= alone.exceeded_by * (1 - 1e-9)
    assert (after.largest_ok_ml or 0.0) <= alone.largest_ok_ml * (1 + 1e-9)


@several
@given(rooms(), days)
def test_order_of_entry_does_not_matter(where, rows):
    one, other = (judge_day(ledger_of(each), where) for each in (rows, rows[::-1]))
    assert one.verdict == other.verdict
    for a, b in zip(one.indices, other.indices, strict=True):
        assert a[1].high == pytest.approx(b[1].high, rel=1e-9)


def test_bands_of_no_width_give_one_figure():
    where = Room(30.0, 0.5, band=Band((1.0, 1.0), (1.0, 1.0), (1.0, 1.0)))
    found = judge_release(ACETONE, 1.0, where, 5.0)
    span = found.near.mean_8_h
    assert span.low == pytest.approx(span.high, rel=1e-12)


def pulse_dose(m, v, a, t):
    """Integral of a pulse that is aired out: m / v times (1 - exp(-a t)) / a, or t without air."""
    return m / v * (-np.expm1(-a * t) / a if a > 0.0 else t)


@several
@given(days, st.sampled_from([15.0, 480.0]), rooms(band=EXACT, air_changes_per_h=3.0))
def test_no_window_on_a_fine_grid_is_worse(rows, window, where):
    rows.sort()
    minute, amount, last = np.array(rows).T
    spread = corners(where)
    worst = Superposition(minute, last, where, spread).worst(amount, window)[0][1]
    a, v = where.decay_per_min, where.volume_m3
    begin = np.linspace(minute[0] - window, minute[-1] + 5.0, 400)[:, None]
    until = pulse_dose(amount, v, a, np.maximum(begin + window - minute, 0.0))
    before = pulse_dose(amount, v, a, np.maximum(begin - minute, 0.0))
    assert ((until - before).sum(axis=1) / window).max() <= worst * (1.0 + 1e-7)
