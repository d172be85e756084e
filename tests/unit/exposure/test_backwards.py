"""The air asked backwards, as a curve and over a day; bad input is one line with a mend."""

import math
import re
from dataclasses import replace

import numpy as np
import pytest

from tests.support.air import ACETONE, OUR_ROOM, PERC, TOLUENE
from triage.errors import OutOfRange
from triage.exposure import gas
from triage.exposure.day import DayLedger, Release, judge_day
from triage.exposure.judge import cheapest_control, judge_release, largest_day_ml, least_air_changes
from triage.exposure.near_field import TwoZones, release_curve, two_zone_levels
from triage.exposure.space import EXACT, Band, Room, minutes_to_fall, with_control
from triage.exposure.step import Terms
from triage.exposure.substance import Limit, Substance
from triage.knowledge.methods import AirControl


def control(name, rank, **more):
    held = {"id": name, "name": name, "cost_rank": rank, "sentence": name, "source": "judgement"}
    return AirControl.model_validate({**held, **more})


WINDOW = control("window", 1, air_changes_per_h=4.0)
CONTROLS = (
    control("hood", 5, captured_fraction=0.99),
    WINDOW,
    control("nothing", 0),
    control("outdoors", 2, outdoors=True, air_speed_m_per_min=30.0),
)


@pytest.mark.parametrize(
    ("agent", "ml", "name"),
    [(ACETONE, 0.1, "nothing"), (ACETONE, 10.0, "window"), (TOLUENE, 60.0, "outdoors")],
)
def test_the_cheapest_control_that_serves_is_named(agent, ml, name):
    found = cheapest_control(CONTROLS, agent, ml, OUR_ROOM, 10.0)
    assert found.name == name
    assert judge_release(agent, ml, with_control(OUR_ROOM, found), 10.0).verdict == "ok"
    assert cheapest_control(CONTROLS, PERC, 1000.0, OUR_ROOM, 10.0) is None


def test_a_control_never_makes_the_air_worse():
    better = Room(30.0, 10.0, captured_fraction=0.5)
    there = with_control(better, WINDOW)
    assert (there.air_changes_per_h, there.captured_fraction) == (10.0, 0.5)


def test_least_air_changes_are_just_enough():
    found = least_air_changes(ACETONE, 10.0, OUR_ROOM, 10.0)
    assert 0.5 < found < 60.0
    ok, less = (
        judge_release(ACETONE, 10.0, replace(OUR_ROOM, air_changes_per_h=by * found), 10.0)
        for by in (1.0, 0.98)
    )
    assert (ok.verdict, less.verdict) == ("ok", "over")
    assert least_air_changes(ACETONE, 0.01, OUR_ROOM, 10.0) == 0.0
    assert least_air_changes(PERC, 1000.0, OUR_ROOM, 10.0) is None


def test_a_day_of_passes_holds_more_when_they_are_spread():
    together = largest_day_ml(ACETONE, OUR_ROOM, 5.0, 5, 0.0)
    spread = largest_day_ml(ACETONE, OUR_ROOM, 5.0, 5, 120.0)
    single = judge_release(ACETONE, 0.0, OUR_ROOM, 5.0).largest_ok_ml
    assert together == pytest.approx(single, rel=2e-3)
    assert spread > together
    each = spread / 5
    before = tuple(Release(120.0 * k, each * 791.0, "acetone", 5.0) for k in range(4))
    last = judge_release(
        ACETONE, each, OUR_ROOM, 5.0, Terms(ledger=DayLedger(before, (ACETONE,)), at_min=480.0)
    )
    assert last.verdict == "ok"


def test_a_day_of_one_pass_and_a_day_without_bound():
    one = judge_release(ACETONE, 0.0, OUR_ROOM, 5.0).largest_ok_ml
    assert largest_day_ml(ACETONE, OUR_ROOM, 5.0) == one
    bare = replace(ACETONE, limits=(), lel_percent=None)
    assert largest_day_ml(bare, OUR_ROOM, 5.0, 5) is None
    peak_only = replace(ACETONE, limits=(Limit("a", "ceiling", 500.0),), lel_percent=None)
    outside = Room(30.0, outdoors=True)
    single = judge_release(peak_only, 0.0, outside, 5.0).largest_ok_ml
    assert largest_day_ml(peak_only, outside, 5.0, 5, 60.0) == pytest.approx(5 * single)
    spent = DayLedger((Release(0.0, 1e7, "acetone"),), (ACETONE,))
    assert largest_day_ml(ACETONE, OUR_ROOM, 5.0, 5, terms=Terms(ledger=spent)) == 0.0


def test_a_day_that_was_too_much_by_itself_holds_nothing_more():
    """Long over when the step begins: its own window is free, the day is not."""
    morning = DayLedger((Release(-400.0, 1e6, "acetone"),), (ACETONE,), now_min=720.0)
    airy, terms = Room(30.0, 50.0), Terms(ledger=morning)
    found = judge_release(ACETONE, 1.0, airy, 5.0, terms)
    assert (found.verdict, found.largest_ok_ml) == ("over", 0.0)
    assert "the day alone is too much" in found.sentence
    assert " mL" not in found.sentence
    assert [largest_day_ml(ACETONE, airy, 5.0, n, terms=terms) for n in (1, 5)] == [0.0, 0.0]


def test_an_amount_that_is_named_is_within_what_the_day_left():
    """Of each agent, by its own limits and by those that it shares with the day's other one."""
    for agent, other in ((ACETONE, ACETONE), (ACETONE, TOLUENE), (TOLUENE, ACETONE)):
        for mg in (1e2, 1e3, 1e4, 1e5):
            day = DayLedger((Release(60.0, mg, other.key, 10.0),), (other,), now_min=720.0)
            for room in (OUR_ROOM, Room(30.0, 4.0)):
                terms = Terms(ledger=day)
                told = judge_release(agent, 100.0, room, 5.0, terms)
                named = re.search(r"use at most ([\d.]+) mL", told.sentence)
                amount = float(named.group(1)) if named else 0.0
                word = "ok" if named else "over"
                assert judge_release(agent, amount, room, 5.0, terms).verdict == word


def test_a_later_pass_can_meet_two_releases_that_the_first_does_not():
    """Neither release has the other in its own 8 h; a pass between them has both."""
    strict = replace(ACETONE, limits=(Limit("a", "twa", 100.0),), lel_percent=None)
    two = (Release(0.0, 5.2e4, "acetone", 60.0), Release(495.0, 5.2e4, "acetone"))
    terms = Terms(ledger=DayLedger(two, (strict,), now_min=10.0), margin=1.0)
    airy = Room(30.0, 5.0, band=EXACT)
    assert judge_release(strict, 0.0, airy, 5.0, terms).largest_ok_ml > 0.0
    assert largest_day_ml(strict, airy, 5.0, 2, 45.0, terms) == 0.0


def test_outdoor_curves_clear_at_once():
    found = release_curve(100.0, 0.0, Room(30.0, outdoors=True), 10.0, 11)
    assert found.room_mg_per_m3[5] == 0.0
    assert found.near_mg_per_m3[-1] < 1e-6 * found.near_mg_per_m3[0]
    slow = release_curve(100.0, 5.0, Room(30.0, outdoors=True, band=EXACT), 5.0, 11)
    assert slow.near_mg_per_m3[-1] == pytest.approx(20.0 / (0.5 * 2 * np.pi * 0.25 * 3.6))
    worse = release_curve(100.0, 5.0, Room(30.0, 0.5), 5.0, 11)
    assert (
        worse.near_mg_per_m3[-1] > release_curve(100.0, 5.0, OUR_ROOM, 5.0, 11).near_mg_per_m3[-1]
    )


def test_a_day_is_judged_by_its_worst_window():
    rows = [Release(600.0 + 5 * k, 50.0, "toluene", 5.0) for k in range(10)]
    found = judge_day(DayLedger(tuple(rows), (TOLUENE, ACETONE)), OUR_ROOM)
    assert (found.verdict, [*found.agents]) == ("ok", ["toluene"])
    heavy = DayLedger((*rows, Release(700.0, 2e4, "toluene", 5.0)), (TOLUENE,))
    assert judge_day(heavy, OUR_ROOM).verdict == "over"
    assert judge_day(DayLedger(), OUR_ROOM).verdict == "ok"


def test_a_day_with_an_agent_without_limits_is_unknown():
    far_off = (Limit("n", "idlh", 6000.0), Limit("n", "twa", 590.0))
    for limits, verdict in (
        ((), "unknown"),
        (far_off, "ok"),
        ((Limit("n", "idlh", 0.01),), "over"),
    ):
        agent = replace(ACETONE, limits=limits)
        day = DayLedger((Release(600.0, 1.0, "acetone"),), (agent,))
        assert judge_day(day, OUR_ROOM).verdict == verdict


def worst_window_mean(minutes, dose, window):
    """Highest mean over any window that begins or ends at a point of a curve's running integral."""
    begun = np.interp(minutes + window, minutes, dose) - dose
    ended = dose - np.interp(minutes - window, minutes, dose)
    return max(begun.max(), ended.max()) / window


def test_the_curve_agrees_with_the_judged_means():
    found = release_curve(791.0, 10.0, OUR_ROOM, 960.0, 4000)
    minute, far = np.array(found.minutes), np.array(found.room_mg_per_m3)
    dose = np.concatenate([[0.0], np.cumsum(np.diff(minute) * (far[1:] + far[:-1]) / 2)])
    judged = judge_release(ACETONE, 1.0, OUR_ROOM, 10.0).room
    mean = worst_window_mean(minute, dose, 480.0)
    assert mean <= judged.mean_8_h.mid
    assert mean == pytest.approx(judged.mean_8_h.mid, rel=0.02)


ROOM = Room(30.0, 1.0)
ZONES = TwoZones(1.0, 10.0, 1.0, 0.0)
AGENT = Substance(
    "agent", 100.0, 0.8, ((20.0, 5.0), (25.0, 7.0)), limits=(Limit("a", "twa", 10.0),)
)
POINTS = ((20.0, 5.0), (25.0, 7.0))
BAD = {
    "zero volume": lambda: Room(0.0),
    "negative volume": lambda: Room(-30.0),
    "endless volume": lambda: Room(math.inf),
    "volume not a number": lambda: Room(math.nan),
    "negative air changes": lambda: Room(30.0, -1.0),
    "impossible air changes": lambda: Room(30.0, 10_000.0),
    "air changes not a number": lambda: Room(30.0, math.nan),
    "mixing factor below one": lambda: Room(30.0, 1.0, 0.5),
    "mixing factor above ten": lambda: Room(30.0, 1.0, 11.0),
    "still air": lambda: Room(30.0, air_speed_m_per_min=0.0),
    "near field larger than the room": lambda: Room(0.03),
    "too hot a room": lambda: Room(30.0, temp_c=90.0),
    "above the highest mountain": lambda: Room(30.0, altitude_m=9000.0),
    "captures more than all": lambda: Room(30.0, captured_fraction=1.1),
    "band upside down": lambda: Band((2.0, 0.5)),
    "share above one": lambda: Band(evaporated_share=(0.5, 1.5)),
    "share upside down": lambda: Band(evaporated_share=(0.9, 0.5)),
    "negative amount": lambda: judge_release(AGENT, -1.0, ROOM, 10.0),
    "amount not a number": lambda: judge_release(AGENT, math.nan, ROOM, 10.0),
    "negative minutes": lambda: judge_release(AGENT, 1.0, ROOM, -1.0),
    "more than a day": lambda: judge_release(AGENT, 1.0, ROOM, 2000.0),
    "margin zero": lambda: judge_release(AGENT, 1.0, ROOM, 1.0, Terms(margin=0.0)),
    "margin above one": lambda: judge_release(AGENT, 1.0, ROOM, 1.0, Terms(margin=2.0)),
    "temperature": lambda: judge_release(AGENT, 1.0, ROOM, 1.0, Terms(temp_c=200.0)),
    "strength above one": lambda: judge_release(
        AGENT, 1.0, ROOM, 1.0, Terms(strength_fraction=2.0)
    ),
    "day with a margin of zero": lambda: judge_day(DayLedger(), ROOM, 0.0),
    "limit of zero": lambda: Limit("a", "twa", 0.0),
    "limit basis": lambda: Limit("a", "weekly", 1.0),
    "averaging time": lambda: Limit("a", "twa", 1.0, averaging_min=-1.0),
    "molar mass": lambda: Substance("x", 0.0),
    "density": lambda: Substance("x", 10.0, -0.8),
    "flammable limit": lambda: Substance("x", lel_percent=0.0),
    "flash point": lambda: Substance("x", flash_point_c=math.inf),
    "airborne form": lambda: Substance("x", airborne="smoke"),
    "unknown agent in the day": lambda: DayLedger((Release(0.0, 1.0, "agnet"),), (AGENT,)),
    "release before the day before": lambda: Release(-2885.0, 1.0, "agent"),
    "negative release": lambda: Release(5.0, -1.0, "agent"),
    "colder than the points": lambda: gas.vapour_kpa_at(POINTS, 15.0),
    "warmer than the points": lambda: gas.vapour_kpa_at(POINTS, 30.0),
    "no vapour points": lambda: gas.vapour_kpa_at((), 20.0),
    "one point elsewhere": lambda: gas.vapour_kpa_at(((20.0, 5.0),), 21.0),
    "two points at one temperature": lambda: gas.vapour_kpa_at(((20.0, 5.0), (20.0, 6.0)), 20.0),
    "vapour pressure zero": lambda: gas.vapour_kpa_at(((20.0, 0.0), (25.0, 6.0)), 22.0),
    "vapour temperature not a number": lambda: gas.vapour_kpa_at(POINTS, math.nan),
    "molar volume at absolute zero": lambda: gas.molar_volume_l(-273.15),
    "molar volume in vacuum": lambda: gas.molar_volume_l(25.0, 0.0),
    "ppm of nothing": lambda: gas.ppm_from_mg_per_m3(1.0, 0.0),
    "level is not a number": lambda: gas.ppm_from_mg_per_m3(math.nan, 50.0),
    "air pressure of the deep sea": lambda: gas.molar_volume_l(25.0, 5000.0),
    "one of many times is not a number": lambda: two_zone_levels(ZONES, 1.0, [1.0, math.nan]),
    "no times": lambda: two_zone_levels(ZONES, 1.0, []),
    "saturation without a vapour pressure": lambda: gas.saturation_mg_per_m3(0.0, 147.0, 20.0),
    "negative ppm": lambda: gas.mg_per_m3_from_ppm(-1.0, 50.0),
    "decay negative": lambda: minutes_to_fall(1.0, 0.5, -0.1),
    "two zones without far field": lambda: TwoZones(1.0, 0.0, 1.0, 1.0),
    "two zones without exchange": lambda: TwoZones(1.0, 10.0, 0.0, 1.0),
    "two zones before time": lambda: two_zone_levels(ZONES, 5.0, -1.0),
    "passes": lambda: largest_day_ml(AGENT, ROOM, 1.0, 0),
    "most air changes": lambda: least_air_changes(AGENT, 1.0, ROOM, 1.0, most_per_h=1e4),
    "curve of no length": lambda: release_curve(1.0, 1.0, ROOM, 0.0, 10),
    "curve of one point": lambda: release_curve(1.0, 1.0, ROOM, 10.0, 1),
}


@pytest.mark.parametrize("fault", sorted(BAD))
def test_bad_input_is_refused(fault):
    with pytest.raises(OutOfRange) as caught:
        BAD[fault]()
    line = str(caught.value)
    assert "\n" not in line
    assert caught.value.mend
    assert len(line) < 200


def test_the_refusal_names_the_number_and_the_range():
    with pytest.raises(OutOfRange, match=r"known from 20 to 25 C, not at 30 C"):
        gas.vapour_kpa_at(POINTS, 30.0)
    with pytest.raises(OutOfRange, match=r'"agnet".*did you mean "agent"'):
        DayLedger((Release(0.0, 1.0, "agnet"),), (AGENT,))


# -- edges that are answers, not faults ------------------------------------------------------


def test_a_single_vapour_point_serves_its_own_temperature():
    assert gas.vapour_kpa_at(((20.0, 5.0),), 20.0) == pytest.approx(5.0)


@pytest.mark.parametrize(
    ("limit", "window_min"),
    [(("twa", 600.0), 480.0), (("stel", 10.0), 10.0), (("peak", 5.0), 0.0), (("idlh", 30.0), 0.0)],
)
def test_windows_of_limits(limit, window_min):
    assert Limit("a", limit[0], 1.0, averaging_min=limit[1]).window_min == window_min
    assert Limit("a", "stel", 1.0).window_min == 15.0
    assert Limit("a", "ceiling", 1.0).window_min == 0.0
