"""What the bench lacks and what the air of a step allows, by hand arithmetic, and what the plan says."""

import math
import random
import re
from types import SimpleNamespace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.builders import case_with, specimen
from tests.support.case_gen import draw_case
from tests.support.knowledge import consultant, planner, shipped
from triage.airplot import day_bars
from triage.case.profile import Bench, RoomProfile
from triage.errors import TriageError
from triage.exposure.day import DayLedger, Release
from triage.exposure.gas import saturation_mg_per_m3, vapour_kpa_at
from triage.knowledge.book import Knowledge
from triage.plan import aircalc, boxcalc
from triage.plan.airjudge import AirJudge
from triage.plan.answers import Means
from triage.plan.daycalc import DayBar
from triage.plan.inputs import AirQuestion, BoxQuestion
from triage.plan.ladder import check_bench
from triage.plan.planner import Planner
from triage.plan.substances import release_min_of, room_of, strength_fraction

KNOWLEDGE = shipped()
WET = sorted(m.id for m in KNOWLEDGE.methods.values() if m.agent and m.amount)
CONTROLS = ("none", "window", "extraction", "hood", "outdoors", "unknown")
volumes = st.floats(2.0, 300.0)
air_changes = st.none() | st.floats(0.0, 20.0)


def bench_of(volume: float, changes: float | None, control: str) -> Bench:
    return Bench(room={"volume_m3": volume, "air_changes_per_h": changes, "control": control})


def ledger_of(agent: str | None, grams: float) -> DayLedger:
    if agent is None:
        return DayLedger()
    judge = AirJudge(KNOWLEDGE, Bench(), DayLedger())
    return DayLedger((Release(600.0, grams * 1000.0, agent),), (judge.substance(agent),))


@given(st.sampled_from(WET), volumes)
def test_closed_room_amount_stays_under_every_eight_hour_limit(
    method_id: str, volume: float
) -> None:
    """Mass over volume, everything evaporated at the latest possible moment, by hand."""
    method = KNOWLEDGE.methods[method_id]
    judge = AirJudge(KNOWLEDGE, bench_of(volume, 0.0, "none"), DayLedger())
    choice = judge.choose(method)
    substance = judge.substance(method.agent)
    twas = [each.value_mg_per_m3 for each in substance.limits if each.basis == "twa"]
    if choice.refused or not twas or substance.airborne == "none" or not substance.density_g_per_ml:
        return
    share = strength_fraction(method.strength) * method.amount.open_share
    level = choice.amount_ml * substance.density_g_per_ml * 1000.0 * share / volume
    if substance.vapour_points and substance.molar_mass_g_per_mol:
        kpa = vapour_kpa_at(substance.vapour_points, 20.0)
        level = min(level, float(saturation_mg_per_m3(kpa, substance.molar_mass_g_per_mol, 20.0)))
    mean = level * (1.0 - release_min_of(judge.knowledge, method) / 960.0)
    assert mean <= KNOWLEDGE.judgement.margin.value * min(twas) * (1.0 + 1e-6)


@given(
    st.sampled_from(WET),
    volumes,
    air_changes,
    st.sampled_from(CONTROLS),
    st.sampled_from((None, "ethanol", "acetone")),
    st.floats(0.0, 50.0),
)
def test_offered_as_it_is_lowered_or_left_out(
    method_id: str,
    volume: float,
    changes: float | None,
    control: str,
    earlier: str | None,
    grams: float,
) -> None:
    method = KNOWLEDGE.methods[method_id]
    judge = AirJudge(KNOWLEDGE, bench_of(volume, changes, control), ledger_of(earlier, grams))
    choice = judge.choose(method)
    if choice.refused:
        assert choice.amount_ml is None
        assert says_limit_factor_and_mend(choice.refused), choice.refused
        return
    if choice.line is None:  # neither hazardous nor limited, such as water
        assert not KNOWLEDGE.agents[method.agent].limits
        assert not KNOWLEDGE.agents[method.agent].hazards
        return
    assert choice.line.verdict != "over"
    assert method.amount.least_ml <= choice.amount_ml <= method.amount.typical_ml
    for limit in choice.line.limits:
        allowed = judge.margin if limit.basis == "twa" else 1.0
        assert not limit.judged or limit.ratio <= allowed * (1.0 + 1e-3), limit
    if choice.amount_ml < method.amount.typical_ml:
        assert choice.because.startswith("lowered from")
        assert says_limit_factor_and_mend(choice.because), choice.because


def says_limit_factor_and_mend(sentence: str) -> bool:
    names = {a.name for a in KNOWLEDGE.authorities.values()} | set(KNOWLEDGE.authorities)
    names |= {getattr(a, "short_name", "") for a in KNOWLEDGE.authorities.values()} - {""}
    limit = "|".join((*(rf"\b{re.escape(name)} " for name in names), "limit", "danger-to-life"))
    mend = r"use at most [\d.]+ mL|use another agent|becomes? possible with|remove every source"
    return all(re.search(each, sentence) for each in (limit, r"[\d.]+ (times|%)", mend))


@given(st.sampled_from(WET), st.floats(2.0, 40.0), st.sampled_from(("none", "unknown", "window")))
def test_named_control_really_mends(method_id: str, volume: float, control: str) -> None:
    """What a refusal promises is tried: the same bench with that control offers the method."""
    method = KNOWLEDGE.methods[method_id]
    bench = bench_of(volume, None, control)
    refused = AirJudge(KNOWLEDGE, bench, DayLedger()).choose(method).refused
    promised = re.search(r"becomes possible with: (.+?), at most", refused)
    if promised is None:
        return
    named = next(c.id for c in KNOWLEDGE.controls.values() if c.name == promised.group(1))
    better = AirJudge(KNOWLEDGE, bench_of(volume, None, named), DayLedger())
    assert better.choose(method).refused == ""


@given(st.sampled_from(WET), volumes)
def test_unknown_ventilation_counts_as_none(method_id: str, volume: float) -> None:
    method = KNOWLEDGE.methods[method_id]
    unknown = AirJudge(KNOWLEDGE, bench_of(volume, None, "unknown"), DayLedger()).choose(method)
    none = AirJudge(KNOWLEDGE, bench_of(volume, 0.0, "none"), DayLedger()).choose(method)
    assert (unknown.amount_ml, unknown.refused) == (none.amount_ml, none.refused)
    if unknown.line is not None:
        assert unknown.line.limits == none.line.limits
        assert unknown.line.reentry_min == none.line.reentry_min


def test_plan_says_why_a_step_was_left_out() -> None:
    """A tight closed room after a heavy morning: the solvent rungs go, each with its sentence."""
    bench = bench_of(6.0, 0.0, "none")
    heavy = ledger_of("ethyl-acetate", 60.0)
    cases = [draw_case(consultant(), random.Random(seed)) for seed in range(40)]
    excluded = [e for case in cases for e in planner().plan(case, bench, heavy).excluded]
    left_out = [e for e in excluded if e.rule == "air-limit"]
    assert left_out
    assert all(e.interlock and says_limit_factor_and_mend(e.because) for e in left_out)


ROOM = RoomProfile(volume_m3=30.0, air_changes_per_h=0.5, control="none")


def air_of(agent: str, bench: Bench):
    return aircalc.answer(Means(KNOWLEDGE, bench), AirQuestion(agent, 0.5, minutes=10.0))


def test_a_face_that_was_not_measured_is_taken_as_near_as_under_a_stereo_microscope() -> None:
    """0.25 to 0.3 m; the level by a steady source grows with the square of the nearness."""
    unmeasured = Bench(room=ROOM)
    far = Bench(room=ROOM.model_copy(update={"face_m": 0.5}))
    assert room_of(KNOWLEDGE, unmeasured).near_field_radius_m == 0.25
    assert room_of(KNOWLEDGE, far).near_field_radius_m == 0.5
    near_peak, far_peak = (air_of("ethanol", b).air.peak_mg_per_m3 for b in (unmeasured, far))
    assert 2.0 < near_peak / far_peak < 4.0
    assert any("Face within 0.25 m" in said for said in air_of("ethanol", unmeasured).assumptions)


def test_another_authority_never_judges_without_a_word_and_editions_keep_their_ratio() -> None:
    """White spirit has no figure in Germany here: others judge, and plan and limits say so."""
    bench = Bench(room=ROOM, judge_by="de-agw")
    assert not any(x.authority == "de-agw" for x in KNOWLEDGE.agents["white-spirit"].limits)
    answer = air_of("white-spirit", bench)
    assert "German TRGS 900 has no limit" in answer.sentence
    assert "NIOSH" in answer.sentence
    judged = [line for line in answer.air.limits if line.judged and line.basis != "idlh"]
    assert judged
    assert all("instead of German TRGS 900" in line.authority for line in judged)
    own = air_of("toluene", bench)
    assert "has no limit" not in own.sentence
    assert not any("instead of" in line.authority for line in own.air.limits)
    shown = air_of("acetone", Bench(room=ROOM)).air.limits
    lines = [x for x in shown if x.authority.startswith("ACGIH") and x.basis == "twa" and x.ratio]
    assert len({x.value for x in lines}) == len(lines)
    for x in lines:
        assert x.ratio == pytest.approx(x.level_mg_per_m3 / x.limit_mg_per_m3, rel=1e-3)


@pytest.mark.parametrize(
    ("agent", "authority", "ppm", "mg_per_m3"),
    [
        # 20 C: German sheets on toluene (EU 50 ppm, 192 mg/m3) and tetrachloroethene (10, 69).
        ("toluene", "eu-ioelv", 50, 192),
        ("tetrachloroethylene", "de-agw", 10, 69),
        # 25 C: NIOSH 1994, toluene 100 ppm, 375 mg/m3 (rounded).
        ("toluene", "niosh", 100, 375),
    ],
)
def test_a_limit_is_converted_at_the_temperature_of_its_authority(
    agent: str, authority: str, ppm: float, mg_per_m3: float
) -> None:
    limits = AirJudge(KNOWLEDGE, Bench(), DayLedger()).substance(agent).limits
    (held,) = (x for x in limits if (x.authority, x.basis) == (authority, "twa"))
    printed = KNOWLEDGE.agents[agent].limits
    assert [x.value for x in printed if (x.authority, x.basis) == (authority, "twa")] == [ppm]
    assert held.value_mg_per_m3 == pytest.approx(mg_per_m3, rel=0.006)


def test_moth_crystals_are_breathed_by_the_higher_table_and_last_by_the_lower() -> None:
    """1.3 mmHg (NIOSH guide) and 0.6 mmHg (NTP 1992) at 20 C: 10.4 and 4.8 mg/L by gas law."""
    asked = BoxQuestion(volume_l=5.0, temp_c=20.0, fumigant="paradichlorobenzene", grams=8.0)
    answer = boxcalc.answer(Means(KNOWLEDGE, Bench(room=ROOM)), asked)
    figures = {f.name: f.value for f in answer.figures}
    assert figures["saturated air holds"] == pytest.approx(10.4, rel=0.01)
    assert figures["by another table"] == pytest.approx(4.82, rel=0.01)
    lasts = 8000 / (5.0 * 4.82 * asked.changes_per_day)
    assert figures["lasts"] == pytest.approx(lasts, rel=0.02)


def test_unknown_ids_of_a_bench_are_refused_together(knowledge: Knowledge) -> None:
    bench = Bench.model_validate({"gloves": ("rubbr",), "circumstances": ("pregnant",)})
    with pytest.raises(TriageError) as told:
        check_bench(knowledge, bench)
    assert "rubbr" in told.value.line()
    assert 'did you mean "pregnancy"' in told.value.line()


def test_where_only_the_bench_keeps_the_next_step_away_the_plan_says_what_is_missing(
    planner: Planner,
) -> None:
    # Pests are killed by cold (museum-freezing-1999), and only a dry insect is frozen.
    case = case_with("beetles", "elytra", {}, live_pest_signs="yes", hydration="dry")
    equipped, bare = (planner.plan(case, b) for b in (Bench(), Bench(lacking=("freezer",))))
    assert equipped.steps
    assert bare.steps == ()
    missing = [[n.text for n in p.notices if n.rule == "bench-lacks"] for p in (equipped, bare)]
    assert missing[0] == []
    (text,) = missing[1]
    assert "freezer" in text
    assert equipped.steps[0].name in text


MOULDY = {"texture": "threads", "likeness": "hyphae", "colour": "white", "nature": "lies-on"}
MOULDY |= {"damp-before": "yes", "setae": "none", "symmetry": "irregular", "uv-look": "dark"}
FRASS = {"texture": "pellets", "dry-brush": "moves", "colour": "brown-black", "puff": "part-moves"}


@pytest.mark.parametrize(
    ("signs", "answers", "without", "wearing"),
    [
        (MOULDY, {"mould-dried": "dried", "hydration": "supple"}, set(), {"ethanol-70-brush"}),
        (FRASS, {"live-pest-signs": "frozen"}, {"pick-sticky"}, {"brush-dry-soft", "pick-sticky"}),
    ],
)
def test_a_step_whose_mask_the_bench_lacks_is_not_next_and_what_lacks_is_told(
    planner: Planner, signs: Any, answers: Any, without: set[str], wearing: set[str]
) -> None:
    # Protective gear is imperative for mould: nps-mold. Hairs of skins fly: carpet-beetles-cutis.
    told = {"arrival": "set-on-pin", "aim": "only-cleaning", "hydration": "dry", **answers}
    case = specimen("beetles", ("elytra", {**signs, "keep": "no"}), **told)
    bench = Bench(room={"control": "window", "place": "home"})
    bare = planner.plan(case, bench)
    mask = {"equipment": ("respirator-particle",)}
    worn = planner.plan(case, bench.model_copy(update=mask))
    assert {s.method for s in bare.steps if s.stage == "clean"} == without
    assert wearing <= {s.method for s in worn.steps}
    said = [n.text for n in bare.notices if n.kind == "bench"]
    said += [e.because for e in bare.excluded if e.offered]
    assert any("particle mask" in text for text in said)


@pytest.mark.parametrize(
    ("share", "drawn"),
    [
        (0.0, "...."),
        (0.5, "##.."),
        (1.0, "####"),
        (1.01, "###>"),
        (1e12, "###>"),
        (math.inf, "###>"),
    ],
)
def test_a_bar_of_the_day_is_as_long_as_it_may_be(share: float, drawn: str) -> None:
    """However much too much there is: a thousandfold share once drew a thousand bars."""
    answer = SimpleNamespace(bars=[DayBar("8 h", share, share, ("acetone",))])
    (line,) = day_bars(answer, width=4)
    assert f"[{drawn}]" in line
