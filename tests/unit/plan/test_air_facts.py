"""The air of a step: face, authority and its temperature, and tables that disagree."""

from __future__ import annotations

import pytest

from tests.support.knowledge import shipped
from triage.case.profile import Bench, RoomProfile
from triage.exposure.day import DayLedger
from triage.plan import aircalc, boxcalc
from triage.plan.airjudge import AirJudge
from triage.plan.answers import Means
from triage.plan.inputs import AirQuestion, BoxQuestion
from triage.plan.substances import room_of

KNOWLEDGE = shipped()
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


def test_another_authority_never_judges_without_a_word() -> None:
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
    held = [x.value_mg_per_m3 for x in limits if (x.authority, x.basis) == (authority, "twa")]
    (published,) = (
        x.value
        for x in KNOWLEDGE.agents[agent].limits
        if (x.authority, x.basis) == (authority, "twa")
    )
    assert published == ppm
    assert held == [pytest.approx(mg_per_m3, rel=0.006)]


def test_two_editions_of_one_authority_keep_their_own_ratio() -> None:
    lines = [
        x
        for x in air_of("acetone", Bench(room=ROOM)).air.limits
        if x.authority.startswith("ACGIH") and x.basis == "twa"
    ]
    assert sorted(x.value for x in lines if x.ratio) == sorted({x.value for x in lines if x.ratio})
    for line in lines:
        if line.ratio:
            assert line.ratio == pytest.approx(
                line.level_mg_per_m3 / line.limit_mg_per_m3, rel=1e-3
            )


def test_moth_crystals_are_breathed_by_the_higher_table_and_last_by_the_lower() -> None:
    """1.3 mmHg (NIOSH guide) and 0.6 mmHg (NTP 1992) at 20 C: 10.4 and 4.8 mg/L by gas law."""
    asked = BoxQuestion(volume_l=5.0, temp_c=20.0, fumigant="paradichlorobenzene", grams=8.0)
    answer = boxcalc.answer(Means(KNOWLEDGE, Bench(room=ROOM)), asked)
    figures = {f.name: f.value for f in answer.figures}
    assert figures["saturated air holds"] == pytest.approx(10.4, rel=0.01)
    assert figures["by another table"] == pytest.approx(4.82, rel=0.01)
    lasts = 8000 / (5.0 * 4.82 * asked.changes_per_day)
    assert figures["lasts"] == pytest.approx(lasts, rel=0.02)
