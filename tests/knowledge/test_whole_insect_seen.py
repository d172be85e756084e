"""What lies at one place of an insect, or lay in its box, against what is done to all of it.

Whole cases through the planner, the deposit told by its signs and never named. Beside each check
stands its source.
"""

from __future__ import annotations

from datetime import UTC, datetime
from math import exp
from pathlib import Path

import pytest
from chemicals import Hfus, Tm

from tests.support.builders import OILY, full_bench
from tests.support.intake import SOUND
from triage.case import changes
from triage.case.models import Case
from triage.case.store import load_case
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan
from triage.plan.planner import Planner

CASES = Path(__file__).parents[2] / "cases"
NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)

# White glassy needles with a smell of moth-balls: own wax is all but ruled out, yet never quite.
NEEDLES = {"texture": "needles-plates", "colour": "white", "sheen": "glassy", "smell": "mothball"}
ON_BOX_TOO = {"texture": "needles-plates", "box-too": "yes"}
SHRINKING = {"texture": "needles-plates", "smell": "mothball", "airing": "shrinks"}
DUST = {"colour": "mixed-grains", "texture": "grains", "puff": "moves"}
BLOOM = {
    "colour": "white",
    "texture": "even-bloom",
    "symmetry": "both-sides",
    "where-on-body": "upper-side-only",
}
POLLEN = {"texture": "equal-spheres", "colour": "tan-yellow", "where-on-body": "hair-brushes"}
FILM_ON_EYE = {"sheen": "dull", "colour": "mixed-grains", "lens-look": "film", "puff": "stays"}
GROWTH = {"texture": "growth-through-joints", "symmetry": "both-sides"}
NEUTRAL = {"water", "surfactant"}
INHIBITORS = {"thymol", "phenol"}


def insect(taxon: str, *places: tuple[str, dict[str, str]], **answers: str) -> Case:
    """Return a sound case with a finding at each place; an answer ``unknown`` is left out."""
    told = SOUND | {name.replace("_", "-"): value for name, value in answers.items()}
    told = {name: value for name, value in told.items() if value != "unknown"}
    findings = [
        {"id": f"f{number}", "zone": zone, "signs": signs}
        for number, (zone, signs) in enumerate(places, start=1)
    ]
    return changes.new_case("x", "test", taxon=taxon, answers=told, findings=findings)


def methods(plan: Plan) -> list[str]:
    return [step.method for step in plan.steps]


def agents(knowledge: Knowledge, plan: Plan) -> set[str]:
    return {agent for method in methods(plan) for agent in agent_ids(knowledge, method)}


def baths(knowledge: Knowledge, plan: Plan) -> set[str]:
    """Return the methods of a plan that put the whole insect into a liquid."""
    return {
        m
        for m in methods(plan)
        if knowledge.techniques[knowledge.methods[m].technique].contact == "immersion"
    }


def offered_for(plan: Plan, finding: str) -> list[str]:
    return [s.method for s in plan.steps if finding in s.findings and "-before-" not in s.id]


# -- moth-ball crystals, their box, and thymol ------------------------------------------------------


@pytest.mark.parametrize("signs", [NEEDLES, ON_BOX_TOO, SHRINKING])
@pytest.mark.parametrize(
    ("taxon", "zone"), [("beetles", "elytra"), ("butterflies-moths", "thorax-hairy")]
)
def test_no_thymol_where_moth_ball_crystals_are(
    planner: Planner, knowledge: Knowledge, signs: dict[str, str], taxon: str, zone: str
) -> None:
    """Camphor with thymol or phenol turns liquid. Source: British Pharmaceutical Codex 1911, camphor.

    That they are aired away at about 27 C: C. Hawks, conservation list, 2006.
    """
    plan = planner.plan(
        insect(taxon, (zone, signs), hydration="dry", box_held="none"), full_bench(knowledge)
    )
    assert plan.stage == "rehydrate"
    assert not agents(knowledge, plan) & INHIBITORS
    assert methods(plan)[0] == "air-out"
    assert "chamber-water-plain" in methods(plan)
    told = {e.method for e in plan.excluded if "liquid" in e.because}
    assert {"chamber-water-thymol", "chamber-water-phenol"} <= told


def test_no_thymol_where_moth_ball_crystals_were(planner: Planner, knowledge: Knowledge) -> None:
    """What was aired off still sits in hair and wrapping. Source: judgement; the Codex as above."""
    case = insect("beetles", ("elytra", SHRINKING), hydration="dry", box_held="none")
    step = planner.plan(case, full_bench(knowledge)).next_step()
    assert step is not None
    assert step.method == "air-out"
    attempt = changes.new_attempt(
        "a1", NOON, step.id, "cleared", finding="f1", zone="elytra", method=step.method
    )
    plan = planner.plan(changes.with_attempt(case, attempt), full_bench(knowledge))
    assert plan.findings[0].state == "cleared"
    assert methods(plan)[0] == "chamber-water-plain"
    assert not agents(knowledge, plan) & INHIBITORS


@pytest.mark.parametrize("held", ["moth-balls", "unknown"])
@pytest.mark.parametrize("size", ["small", "large"])
def test_no_thymol_after_a_box_with_moth_balls(
    planner: Planner, knowledge: Knowledge, held: str, size: str
) -> None:
    """The same holds for a box that held them. Source: the Codex as above; common practice.

    An open answer bars the inhibitor and nothing more: softening without one stays, and it is asked.
    """
    case = insect(
        "butterflies-moths", ("thorax-hairy", DUST), hydration="dry", box_held=held, size=size
    )
    plan = planner.plan(case, full_bench(knowledge))
    assert not agents(knowledge, plan) & INHIBITORS
    assert "chamber-water-plain" in methods(plan)
    assert ("box-held" in {q.question for q in plan.questions}) == (held == "unknown")


def test_thymol_comes_first_where_the_box_is_known_to_be_free_of_them(
    planner: Planner, knowledge: Knowledge
) -> None:
    """Thymol grains go into relaxing boxes against fungus. Source: Korea National Arboretum."""
    case = insect("butterflies-moths", ("thorax-hairy", DUST), hydration="dry", box_held="none")
    chambers = [
        m for m in methods(planner.plan(case, full_bench(knowledge))) if m.startswith("chamber")
    ]
    assert chambers[0] == "chamber-water-thymol"


def test_thymol_and_dichlorobenzene_melt_together_in_a_warm_chamber(knowledge: Knowledge) -> None:
    """Sources: melting points and heats of fusion of the chemicals library; Schroeder's equation.

    An ideal mixture has no solid left where the two solubilities add up to one or more.
    """
    held = knowledge.methods["chamber-water-thymol"].temp_c
    assert held is not None
    kelvin = held.most + 273.15

    def solubility(cas: str) -> float:
        return exp(-Hfus(cas) / 8.314 * (1 / kelvin - 1 / Tm(cas)))

    thymol, dichlorobenzene = (knowledge.agents[a].cas for a in ("thymol", "paradichlorobenzene"))
    assert solubility(thymol) + solubility(dichlorobenzene) >= 1
    assert kelvin < min(Tm(thymol), Tm(dichlorobenzene))


@pytest.mark.parametrize("hydration", ["dry", "supple"])
def test_airing_is_not_barred_by_a_wax_that_the_signs_speak_against(
    planner: Planner, knowledge: Knowledge, hydration: str
) -> None:
    """Airing touches nothing and is a test without risk. Source: C. Hawks, conservation list, 2006."""
    case = insect("beetles", ("elytra", NEEDLES), hydration=hydration)
    readings = planner.consultant.consult(case, full_bench(knowledge)).readings_of("f1")
    wax = next(r for r in readings if r.deposit == "own-wax")
    assert wax.certainty < -0.4
    assert wax.reach >= knowledge.judgement.suspected.value
    plan = planner.plan(case, full_bench(knowledge))
    assert methods(plan)[0] == "air-out"
    assert not [e for e in plan.excluded if e.method == "air-out"]


def test_what_may_be_bloom_still_gets_nothing_that_touches_it(
    planner: Planner, knowledge: Knowledge
) -> None:
    """Pruinose wax is the insect's own. Source: Futahashi et al., eLife 8:e43045, 2019."""
    for signs in (BLOOM, {"colour": "white"}, NEEDLES):
        plan = planner.plan(insect("beetles", ("abdomen-hard", signs)), full_bench(knowledge))
        for method in offered_for(plan, "f1"):
            assert knowledge.techniques[knowledge.methods[method].technique].contact == "none", (
                signs,
                method,
            )


# -- baths of the whole insect ----------------------------------------------------------------------


@pytest.mark.parametrize("signs", [DUST, OILY])
def test_no_bath_while_another_place_carries_its_own_bloom(
    planner: Planner, knowledge: Knowledge, signs: dict[str, str]
) -> None:
    """Bloom does not grow back; darkling beetles of deserts wear it. Source: namib-bloom-1985."""
    bench = full_bench(knowledge)
    assert baths(knowledge, planner.plan(insect("beetles", ("elytra", signs)), bench))
    plan = planner.plan(insect("beetles", ("elytra", signs), ("abdomen-hard", BLOOM)), bench)
    assert plan.findings[1].deposit == "natural-bloom"
    assert not baths(knowledge, plan)
    assert "detergent-brush" in offered_for(plan, "f1")


def test_no_hot_soak_while_another_place_carries_its_own_bloom(
    planner: Planner, knowledge: Knowledge
) -> None:
    """Wax melts at 62 to 70 C and the soak is as warm. Source: mfa-beeswax, korea-arboretum-specimens."""
    bench = full_bench(knowledge)
    dusty, bloom = ("elytra", DUST), ("abdomen-hard", BLOOM)
    assert "warm-water-soak-beetle" in methods(
        planner.plan(insect("beetles", dusty, hydration="dry"), bench)
    )
    plan = planner.plan(insect("beetles", dusty, bloom, hydration="dry"), bench)
    assert "warm-water-soak-beetle" not in methods(plan)
    assert "chamber-water-thymol" in methods(plan)


@pytest.mark.parametrize(("wanted", "washed"), [("yes", False), ("unknown", False), ("no", True)])
def test_no_bath_while_another_place_carries_wanted_pollen(
    planner: Planner, knowledge: Knowledge, wanted: str, *, washed: bool
) -> None:
    """A wash takes all of it out of the hair. Source: US Geological Survey bee laboratory, 2017."""
    case = insect("bees-wasps", ("thorax-hairy", OILY), ("leg", POLLEN), pollen_wanted=wanted)
    plan = planner.plan(case, full_bench(knowledge))
    assert plan.findings[1].deposit == "pollen"
    assert bool(baths(knowledge, plan)) == washed
    # Whether it is wanted is asked before anything else is done; once told, the brush is offered.
    asked = "pollen-wanted" in {question.question for question in plan.questions}
    assert asked == (wanted == "unknown")
    assert ("detergent-brush" in offered_for(plan, "f1")) != asked


def test_no_bath_while_another_place_carries_the_fungus_that_holds_it(
    planner: Planner, knowledge: Knowledge
) -> None:
    """The growth is part of the body and falls apart when soft. Source: judgement."""
    case = insect("beetles", ("elytra", DUST), ("abdomen-hard", GROWTH))
    plan = planner.plan(case, full_bench(knowledge))
    assert plan.findings[1].deposit == "insect-fungus"
    assert not baths(knowledge, plan)
    assert "puff-air" in offered_for(plan, "f1")


@pytest.mark.parametrize("eye", ["compound-eye", "ocelli"])
def test_only_water_and_neutral_soap_bathe_an_insect_with_an_eye_in_the_work(
    planner: Planner, knowledge: Knowledge, eye: str
) -> None:
    """A coat of protein and wax lies on the lenses. Source: Kryuchkov et al., Nature, 17 September 2020.

    Alkali for long dents them: macro-photography guide, 2017.
    """
    bench = full_bench(knowledge)
    alone = planner.plan(insect("bees-wasps", ("thorax-hairy", OILY)), bench)
    assert {"ethanol-70-dip", "heptane-dip", "acetone-dip"} <= baths(knowledge, alone)
    plan = planner.plan(insect("bees-wasps", ("thorax-hairy", OILY), (eye, FILM_ON_EYE)), bench)
    for method in baths(knowledge, plan):
        used = {knowledge.agents[a].agent_class for a in agent_ids(knowledge, method)}
        assert used <= NEUTRAL, method
        assert (
            knowledge.methods[method].harshness.mechanical.grade
            <= knowledge.zones[eye].most_mechanical
        )
    ladder = offered_for(plan, "f1")
    assert {"detergent-brush", "wash-detergent", "ethanol-70-brush", "heptane-brush"} <= set(ladder)


def test_no_ammonia_dip_for_a_stuck_leg_with_an_eye_in_the_work(
    planner: Planner, knowledge: Knowledge
) -> None:
    """Alkali eats the protein coat of the lens. Source: Kryuchkov et al., Nature, 17 September 2020."""
    bench = full_bench(knowledge)
    dusty, film = ("thorax-hairy", DUST), ("compound-eye", FILM_ON_EYE)
    assert "dip-ammonia-surfactant" in methods(
        planner.plan(insect("bees-wasps", dusty, joints_stuck="some"), bench)
    )
    plan = planner.plan(insect("bees-wasps", dusty, film, joints_stuck="some"), bench)
    assert "dip-ammonia-surfactant" not in methods(plan)


def test_bumblebee_of_the_demo_is_not_swished_in_ethanol_over_its_dirty_eye(
    planner: Planner, knowledge: Knowledge
) -> None:
    """Eyes get water and dilute surfactant only. Source: corneal-coat-2020; common practice."""
    case = load_case(CASES / "bumblebee-plate-3.yaml")
    plan = planner.plan(case, full_bench(knowledge))
    for method in baths(knowledge, plan):
        used = {knowledge.agents[a].agent_class for a in agent_ids(knowledge, method)}
        assert used <= NEUTRAL, method
    ladder = offered_for(plan, "f1")
    order = ["blot-dry", "detergent-brush", "wash-detergent", "ethanol-70-brush", "heptane-brush"]
    assert [m for m in ladder if m in order] == order
    assert any(
        e.method == "ethanol-70-dip" and e.finding == "f1" and "eye" in e.because
        for e in plan.excluded
    )
