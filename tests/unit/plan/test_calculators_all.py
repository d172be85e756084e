"""Every entry of the shipped knowledge goes through the calculators: an answer, or a clear refusal."""

import math
from collections.abc import Callable
from dataclasses import asdict
from typing import Any

import pytest

from tests.support.knowledge import demo_bench, shipped
from triage.case.profile import Bench
from triage.errors import TriageError
from triage.plan import aircalc, boxcalc, mixcalc
from triage.plan.aircalc import air_picture, question_of_agent, vapour_agents
from triage.plan.answers import Means
from triage.plan.inputs import AirQuestion, BoxQuestion, ChamberQuestion, MixQuestion

KNOWLEDGE = shipped()
MEANS = Means(KNOWLEDGE, demo_bench())


def numbers(held: Any) -> list[float]:
    if isinstance(held, dict):
        return [n for each in held.values() for n in numbers(each)]
    if isinstance(held, list | tuple):
        return [n for each in held for n in numbers(each)]
    return [held] if isinstance(held, float) else []


def answered(act: Callable[[], Any]) -> tuple[Any, TriageError | None]:
    try:
        return act(), None
    except TriageError as fault:
        return None, fault


@pytest.mark.parametrize("agent", sorted(KNOWLEDGE.agents))
def test_air_of_every_agent(agent: str) -> None:
    asked = AirQuestion(agent, 0.5)
    answer, fault = answered(lambda: aircalc.answer(MEANS, asked))
    if fault is not None:
        assert fault.mend
        assert "known" in fault.message or "no density" in fault.message
        return
    assert all(math.isfinite(n) for n in numbers(asdict(answer)))
    for near, room in zip(answer.levels[:3], answer.levels[3:], strict=True):
        assert near.low_mg_per_m3 <= near.mid_mg_per_m3 <= near.high_mg_per_m3
        assert near.high_mg_per_m3 >= room.high_mg_per_m3
    assert answer.sentence
    assert len(answer.sentence) < 140
    vapour = KNOWLEDGE.agents[agent].vapour_of or agent
    assert len(answer.air.limits) == len(KNOWLEDGE.agents[vapour].limits)
    if answer.verdict == "unknown":
        assert answer.largest_pass_ml is None
        assert answer.control is None


@pytest.mark.parametrize("agent", sorted(vapour_agents(KNOWLEDGE, Bench())))
def test_curve_of_every_agent_that_can_be_chosen(agent: str) -> None:
    picture = air_picture(MEANS, question_of_agent(KNOWLEDGE, agent))
    assert picture.words()
    curve = picture.curve
    for near, room in zip(curve.near_mg_per_m3, curve.room_mg_per_m3, strict=True):
        assert math.isfinite(near)
        assert near >= room * (1 - 1e-9)


def test_curve_passes_through_the_level_of_the_verdict() -> None:
    """The picture's top is the verdict's peak: both come from the same release, by two routes."""
    asked = AirQuestion("ethyl-acetate", 2.0, minutes=5.0)
    answer = aircalc.answer(MEANS, asked)
    top = max(air_picture(MEANS, asked).curve.near_mg_per_m3)
    peak = answer.levels[0].high_mg_per_m3
    assert top <= peak * 1.001
    assert top > 0.8 * peak


@pytest.mark.parametrize("salt", sorted(KNOWLEDGE.salts))
@pytest.mark.parametrize("temp_c", [5.0, 20.0, 30.0, 44.0])
def test_chamber_over_every_salt(salt: str, temp_c: float) -> None:
    asked = ChamberQuestion(2.0, temp_c=temp_c, salt=salt, rh_start_percent=5.0)
    answer, fault = answered(lambda: boxcalc.chamber(MEANS, asked))
    if fault is not None:
        assert "no humidity is known" in fault.message
        return
    assert all(f.value is None or math.isfinite(f.value) for f in answer.figures)
    assert 0.0 < answer.figures[0].value <= 100.0


@pytest.mark.parametrize("gel", sorted(KNOWLEDGE.gels))
def test_gel_of_every_kind(gel: str) -> None:
    answer, fault = answered(lambda: boxcalc.answer(MEANS, BoxQuestion(10.0, gel=gel)))
    if fault is not None:
        assert "gel" in fault.line()
        return
    least, advised = answer.figures[1].value, answer.figures[2].value
    assert advised > least > 0.0


@pytest.mark.parametrize("agent", ["naphthalene", "paradichlorobenzene", "thymol", "camphor"])
def test_fumigants_answer_or_say_what_is_missing(agent: str) -> None:
    asked = BoxQuestion(8.0, fumigant=agent, grams=5.0)
    answer, fault = answered(lambda: boxcalc.answer(MEANS, asked))
    if fault is not None:
        assert "known" in fault.message
        return
    assert any(f.name.startswith("opening: peak") for f in answer.figures)


@pytest.mark.parametrize("circumstance", ["asthma", "pregnancy", "closed-room"])
@pytest.mark.parametrize("agent", ["paradichlorobenzene", "naphthalene", "camphor"])
def test_vapours_breathed_for_months_are_refused_as_solvents_are(
    agent: str, circumstance: str
) -> None:
    frail = Bench(room={"volume_m3": 60.0, "control": "hood"}, circumstances=(circumstance,))
    asked = BoxQuestion(8.0, fumigant=agent, grams=5.0)
    _, fault = answered(lambda: boxcalc.answer(Means(KNOWLEDGE, frail), asked))
    assert fault is not None
    assert KNOWLEDGE.circumstances[circumstance].name in fault.message


def test_opening_a_large_old_chest_is_judged() -> None:
    """500 L saturated with moth-ball vapour into a small closed room: far above a tenth of the limit."""
    tight = Bench(room={"volume_m3": 10.0, "control": "none"})
    asked = BoxQuestion(500.0, fumigant="paradichlorobenzene", grams=100.0)
    answer = boxcalc.answer(Means(KNOWLEDGE, tight), asked)
    assert any("Opening is too much" in caution for caution in answer.cautions)


def test_only_the_acid_of_a_bath_of_known_ph_is_worked_out() -> None:
    assert mixcalc.bath_acids(KNOWLEDGE) == ("hydrochloric-acid-dilute",)


@pytest.mark.parametrize(
    "agent", sorted(a.id for a in KNOWLEDGE.agents.values() if a.strength_basis != "as-is")
)
def test_every_agent_with_a_strength_can_be_made_up_or_says_why_not(agent: str) -> None:
    asked = MixQuestion(agent, to=1.0, ml=100.0, stock=10.0)
    answer, fault = answered(lambda: mixcalc.answer(Means(KNOWLEDGE, Bench()), asked))
    if fault is not None:
        assert "density" in fault.line()
        return
    assert 0.0 < answer.figures[0].value < 100.0
