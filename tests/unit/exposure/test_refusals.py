"""Bad input is refused in one clear line that names what is wrong and what to do."""

import math

import pytest

from triage.errors import OutOfRange
from triage.exposure import gas
from triage.exposure.day import DayLedger, Release, judge_day
from triage.exposure.judge import judge_release, largest_day_ml, least_air_changes
from triage.exposure.near_field import TwoZones, release_curve, two_zone_levels
from triage.exposure.space import Band, Room, minutes_to_fall
from triage.exposure.step import Terms
from triage.exposure.substance import Limit, Substance

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


def test_windows_of_limits():
    assert Limit("a", "twa", 1.0, averaging_min=600.0).window_min == 480.0
    assert Limit("a", "stel", 1.0).window_min == 15.0
    assert Limit("a", "stel", 1.0, averaging_min=10.0).window_min == 10.0
    assert Limit("a", "ceiling", 1.0).window_min == 0.0
    assert Limit("a", "peak", 1.0, averaging_min=5.0).window_min == 0.0
    assert Limit("a", "idlh", 1.0, averaging_min=30.0).window_min == 0.0
