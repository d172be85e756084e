"""What the judgement of one release says. Substances are named here, never in the program.

The first group is the acceptance example of the task: 3 mL tetrachloroethylene, 1.623 g/mL,
M 165.83, 30 m3, 0.5 air changes per hour. Its figures are this project's own, not published; they
are checked here by integrating the mass balance with scipy.
"""

import re
from dataclasses import replace
from functools import partial
from operator import attrgetter

import numpy as np
import pytest
from scipy.integrate import quad

from tests.support.air import ACETONE, OUR_ROOM, PERC, TOLUENE, ppm
from triage.errors import OutOfRange
from triage.exposure.day import DayLedger, Release, judge_day
from triage.exposure.judge import judge_release
from triage.exposure.space import EXACT, Band, Room
from triage.exposure.step import USUAL, Terms
from triage.exposure.substance import Limit, Substance
from triage.exposure.wording import plainly

LEVEL_AFTER = 162.3  # mg/m3: 4869 mg in 30 m3


def judged(agent, ml, minutes=10.0, room=OUR_ROOM, **terms):
    return judge_release(agent, ml, room, minutes, Terms(**terms))


perc = partial(judged, PERC, temp_c=25.0)


def limited(*limits):
    return replace(PERC, limits=tuple(Limit(*limit) for limit in limits))


def test_room_figures_of_the_acceptance_example():
    verdict = perc(3.0, 0.0)

    def mean(window):
        return quad(lambda t: LEVEL_AFTER * np.exp(-0.5 / 60.0 * t), 0.0, window)[0] / window

    for level, expected, example_ppm in (
        # The example states ppm with a molar volume of 24.45, ours is 24.465.
        (verdict.room.peak, LEVEL_AFTER, 23.93),
        (verdict.room.mean_15_min, mean(15.0), 22.49),
        (verdict.room.mean_8_h, mean(480.0), 5.873),
    ):
        assert level.mid == pytest.approx(expected, rel=1e-6)
        assert level.mid * verdict.ppm_per_mg == pytest.approx(example_ppm, rel=1e-3)


@pytest.mark.parametrize(
    ("ppm_limit", "minutes"), [(25.0, 0.0), (1.0, 6.35 * 60.0), (0.14, 10.28 * 60.0)]
)
def test_airing_times_of_the_acceptance_example(ppm_limit, minutes):
    agent, terms = limited(("any", "twa", ppm(ppm_limit))), {"temp_c": 25.0, "margin": 1.0}
    found = judged(agent, 3.0, 0.0, **terms).reentry_min
    assert found == pytest.approx(minutes, abs=0.5)
    poorly = replace(OUR_ROOM, mixing_factor=3.0)
    assert judged(agent, 3.0, 0.0, poorly, **terms).reentry_min == pytest.approx(3.0 * found)


@pytest.mark.parametrize(("ppm_limit", "ml"), [(25.0, 12.77), (100.0, 51.1), (0.14, 0.0715)])
def test_largest_amounts_of_the_acceptance_example(ppm_limit, ml):
    # The example looks at the room mean; the face adds to it, so a wide-open near field is set.
    windy = replace(OUR_ROOM, air_speed_m_per_min=300.0, near_field_radius_m=1.5)
    agent = limited(("any", "twa", ppm(ppm_limit)))
    found = judged(agent, 0.0, 60.0, windy, temp_c=25.0, margin=1.0).largest_ok_ml
    assert found == pytest.approx(ml, rel=2e-3)


def test_the_binding_limit_depends_on_the_authority():
    strict = perc(3.0, 30.0, margin=1.0)
    lenient = perc(3.0, 30.0, margin=1.0, judge_by="osha")
    assert (strict.verdict, strict.binding.limit.authority) == ("over", "epa")
    factor = strict.near.mean_8_h.mid * strict.ppm_per_mg / 0.14
    assert strict.binding.factor == pytest.approx(factor, rel=1e-6)
    assert lenient.verdict == "ok"
    assert len(lenient.ratios) == len(PERC.limits)  # all are shown, the chosen ones judge
    assert {r.limit.authority for r in lenient.ratios if r.is_judged} == {"osha", "niosh"}


def test_an_authority_without_a_limit_falls_back_to_the_strictest_and_says_so():
    silent = replace(PERC, silent=(("nobody", "The Nobody"),))
    found, chosen = (
        judged(silent, 3.0, 30.0, temp_c=25.0, judge_by=who) for who in ("nobody", "osha")
    )
    assert found.binding.limit.authority == "epa"
    assert "The Nobody has no limit" in found.sentence
    assert "epa" in found.sentence.split("The Nobody")[1]
    assert "has no limit" not in chosen.sentence


def test_the_margin_is_on_the_day_mean_only_and_a_ceiling_over_minutes_held_against_their_mean():
    for each in perc(0.01, 30.0).ratios:
        assert each.allowed_fraction == (0.1 if each.limit.basis == "twa" else 1.0)
        assert each.factor == pytest.approx(each.ratio / each.allowed_fraction)
    # NIOSH gives phenol, heptane and Stoddard solvent ceilings over 15 min.
    found = judged(replace(PERC, limits=(Limit("n", "ceiling", 400.0, averaging_min=15.0),)), 3, 1)
    assert found.binding.level_mg_per_m3 == pytest.approx(found.near.mean_15_min.high)
    plain = judged(limited(("n", "ceiling", 400.0)), 3.0, 1.0)
    assert plain.binding.level_mg_per_m3 == pytest.approx(plain.near.peak.high)


def test_unknown_air_changes_count_as_none():
    unknown, none = (
        judged(PERC, 3.0, 30.0, replace(OUR_ROOM, air_changes_per_h=air)) for air in (None, 0.0)
    )
    assert unknown.near == none.near
    assert unknown.room.mean_8_h.mid == pytest.approx(LEVEL_AFTER, rel=1e-6)
    assert unknown.reentry_min is None
    assert any("not known" in text for text in unknown.assumptions)


def test_the_verdict_takes_the_unfavourable_end():
    wide = Band((0.05, 2.0), (0.1, 2.0), (0.5, 1.0))
    sure, unsure = (
        judged(ACETONE, 40.0, 30.0, Room(30.0, 2.0, band=band), margin=1.0)
        for band in (EXACT, wide)
    )
    assert unsure.near.mean_8_h.mid == pytest.approx(sure.near.mean_8_h.mid)
    assert (sure.verdict, unsure.verdict) == ("ok", "over")
    assert unsure.binding.level_mg_per_m3 == unsure.near.mean_8_h.high


# The trap of the dust: one library turns 2 mg/m3 of caustic dust into 0.87 "ppm" of a vapour.
CAUSTIC = Substance(
    "potassium-hydroxide", 56.106, 2.044, limits=(Limit("niosh", "ceiling", 2.0),), airborne="dust"
)
NAPHTHA = Substance("naphtha", None, 0.77, limits=(Limit("niosh", "twa", 350.0),))
BARE = replace(ACETONE, limits=(), lel_percent=None, flash_point_c=None)
HIGH = replace(ACETONE, limits=(Limit("a", "ceiling", 1e6),), lel_percent=None)
DEADLY = replace(PERC, limits=(Limit("a", "twa", 1e6), Limit("b", "idlh", 1.0)))
FLAME = Terms(ignition_source=True)
UNLIMITED = {"verdict": "unknown", "largest_ok_ml": None}
NOTHING = {"verdict": "ok", "reentry_min": 0.0, "near.peak.high": 0.0}
ONE_RELEASE = {
    "flags pass through": (PERC, 0.01, USUAL, {"flags": ("carcinogen",)}),
    "danger to life cannot be chosen away": (
        DEADLY, 3.0, Terms(judge_by="a"), {"verdict": "over", "binding.limit.basis": "idlh"}),
    "no published limit is unknown": (BARE, 1.0, USUAL, UNLIMITED),
    "unless the caller allows it": (BARE, 1.0, Terms(no_limit_ok=True), {"verdict": "ok"}),
    "danger to life alone is no working limit": (
        replace(BARE, limits=(Limit("n", "idlh", 6000.0),)), 0.1, USUAL, UNLIMITED),
    "a limit above saturation bounds no amount": (
        HIGH, 1000.0, USUAL, {"verdict": "ok", "largest_ok_ml": None}),
    "a dust has no ppm": (CAUSTIC, 0.001, USUAL, {"ppm_per_mg": None, "verdict": "ok"}),
    "no molar mass, no ppm, a verdict": (
        NAPHTHA, 0.2, USUAL, {"ppm_per_mg": None, "verdict": "ok"}),
    "a liquid that gives off nothing": (Substance("soap", airborne="none"), 10.0, USUAL, NOTHING),
    "it can flash": (ACETONE, 0.01, USUAL, {"verdict": "ok", "can_ignite": True}),
    "a flame beside it stops it": (ACETONE, 0.01, FLAME, {"verdict": "over"}),
    "also where no flash point is known": (
        replace(ACETONE, flash_point_c=None), 0.01, FLAME, {"verdict": "over"}),
    "a flame beside what cannot burn": (PERC, 1e-4, FLAME, {"verdict": "ok", "can_ignite": None}),
}  # fmt: skip


@pytest.mark.parametrize("name", ONE_RELEASE)
def test_one_release_says(name):
    agent, ml, terms, says = ONE_RELEASE[name]
    found = judge_release(agent, ml, OUR_ROOM, 10.0, terms)
    assert {part: attrgetter(part)(found) for part in says} == says
    assert ("ignition" in found.sentence) is (terms is FLAME and found.verdict == "over")


def test_lel_fraction_is_that_of_the_real_air_and_judged_even_without_a_limit():
    # ppm at altitude and temperature: 25 g/m3 acetone is more of a thinner air.
    low, high = (
        judged(ACETONE, 5.0, 5.0, replace(OUR_ROOM, altitude_m=height)) for height in (0.0, 3000.0)
    )
    assert high.near.peak == low.near.peak
    assert high.lel_fraction == pytest.approx(low.lel_fraction / 0.692, rel=5e-3)  # p/p0 there
    fire = judged(replace(ACETONE, limits=()), 100.0, 0.0, no_limit_ok=True)
    assert fire.verdict == "over"
    assert fire.lel_fraction > 0.1
    assert "flammable" in fire.sentence


def test_agents_of_one_day_are_added():
    day = DayLedger((Release(600.0, 8000.0, "toluene", 10.0),), (TOLUENE,))
    alone = judged(ACETONE, 20.0, margin=1.0)
    after = judged(ACETONE, 20.0, margin=1.0, ledger=day)
    assert alone.mixture == {}
    toluene = judge_day(day, OUR_ROOM, margin=1.0)
    index = {window: index.high for window, index, _ in toluene.indices}
    assert after.mixture == {480.0: pytest.approx(alone.binding.factor + index[480.0], rel=1e-6)}
    assert after.largest_ok_ml < alone.largest_ok_ml
    assert after.reentry_min > alone.reentry_min


def test_the_same_agent_earlier_today_counts_in_its_own_level_and_strength_scales_it():
    day = DayLedger((Release(600.0, 791.0, "acetone"),), (ACETONE,))
    one = judged(ACETONE, 1.0, 0.0).room.peak.mid
    assert judged(ACETONE, 1.0, 0.0, ledger=day).room.peak.mid == pytest.approx(2.0 * one)
    later = judged(ACETONE, 1.0, 0.0, ledger=day, at_min=720.0).room.peak.mid
    assert later == pytest.approx(one * (1.0 + np.exp(-0.5 * 2.0)))
    tenth = judged(ACETONE, 10.0, 0.0, strength_fraction=0.1).room.peak.mid
    assert tenth == pytest.approx(one)


def test_without_a_vapour_pressure_for_the_room_all_of_it_is_taken_to_evaporate():
    small = Room(2.0, None, near_field_radius_m=0.3)
    capped = judged(ACETONE, 500.0, 1.0, small)
    bound = judged(replace(ACETONE, vapour_points=()), 500.0, 1.0, small)
    assert bound.near.peak.high > capped.near.peak.high
    assert any("saturation" in text for text in bound.assumptions)
    # A cold room takes the coldest point as the cap, and a hot one none.
    cold, hot = (judged(ACETONE, 500.0, 1.0, small, temp_c=temp) for temp in (10.0, 40.0))
    assert any("20 C" in text for text in cold.assumptions)
    assert any("no cap" in text for text in hot.assumptions)
    assert hot.near.peak.high > cold.near.peak.high


def test_without_density_the_air_is_taken_as_saturated_and_without_molar_mass_refused():
    found = judged(replace(ACETONE, density_g_per_ml=None), 0.1)
    saturated = 24_750.0 * 58.08 / (8.314462618 * 293.15) * 1000.0
    assert found.room.peak.mid == pytest.approx(saturated, rel=1e-6)
    assert (found.verdict, found.largest_ok_ml) == ("over", None)
    for agent, told in (
        (Substance("mystery"), "neither density nor molar mass"),
        (Substance("mystery", 100.0), "no density, and no vapour pressure"),
    ):
        with pytest.raises(OutOfRange, match=told):
            judged(agent, 1.0)


def test_sentences_are_short_and_say_limit_factor_and_mend():
    long_name = "the-authority-of-a-country-with-a-very-long-name-" * 3
    for agent in (PERC, ACETONE, TOLUENE, limited((long_name, "twa", 0.001))):
        for ml in (0.0, 1e-5, 0.01, 3.0, 1e5):
            assert 0 < len(judged(agent, ml, room=Room(30.0, 0.5)).sentence) < 140
    text = perc(3.0, 30.0, margin=1.0).sentence
    assert all(part in text for part in ("epa", "times", "mL"))
    # The amount that it names is itself allowed.
    shown = float(perc(3.0, 30.0).sentence.split("at most ")[1].split(" mL")[0])
    assert perc(shown, 30.0).verdict == "ok"
    assert [plainly(each) for each in (1e-5, 2.5e-7, 0.5, 30.0, 3e6)] == [
        "0.00001", "0.00000025", "0.5", "30", "3000000",
    ]  # fmt: skip


@pytest.mark.parametrize("ml", [0.01, 0.1, 0.3, 1.0])
@pytest.mark.parametrize("changes", [0.5, 5.0])
def test_the_headline_says_how_much_of_what_is_allowed_is_used(ml, changes):
    """Of the limit that binds, in one unit: no other limit is nearer to what it allows."""
    found = judged(ACETONE, ml, room=Room(30.0, changes, band=EXACT))
    assert found.verdict == "ok"
    told = re.search(r"([\d.]+) % of .*: ([\d.]+) of ([\d.]+) mg", found.sentence).groups()
    percent, level, allowed = map(float, told)
    assert level / allowed == pytest.approx(percent / 100, rel=0.06)
    assert percent / 100 == pytest.approx(max(each.factor for each in found.ratios), rel=0.06)


def test_outdoors_only_the_air_before_the_face_counts():
    found = judged(TOLUENE, 1.0, room=Room(30.0, None, outdoors=True, band=EXACT))
    assert found.room.peak.high == 0.0
    assert found.near.peak.mid == pytest.approx(86.7 / (0.5 * 2 * np.pi * 0.25 * 3.6))
    assert found.reentry_min == 0.0


def test_the_sentence_says_when_it_is_the_sum_that_is_too_much():
    day = DayLedger((Release(600.0, 6000.0, "toluene", 10.0),), (TOLUENE,))
    found = judged(ACETONE, 1.0, ledger=day)
    assert found.verdict == "over"
    assert found.binding.factor < 1.0 < found.mixture[480.0] == found.exceeded_by
    assert "together" in found.sentence
    assert "8 h" in found.sentence
