"""The main job as the trade does it: the rules held against practice, not against a document.

Beside each check stands whose practice it is; ``common practice`` where no document is known.
"""

from __future__ import annotations

import pytest

from tests.support.builders import OILY, WAXY, case_with, full_bench, rungs, walk
from triage.case import changes
from triage.case.profile import Bench
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan
from triage.plan.planner import Planner

DUST = {"colour": "mixed-grains", "texture": "grains", "puff": "moves"}
BLOOM = {"colour": "white", "texture": "even-bloom", "symmetry": "both-sides"}
FILM = {"sheen": "dull", "lens-look": "film", "puff": "stays"}
LIQUIDS = ("humid", "wet")


def classes(knowledge: Knowledge, method: str) -> set[str]:
    return {knowledge.agents[a].agent_class for a in agent_ids(knowledge, method)}


def is_wet(knowledge: Knowledge, method: str) -> bool:
    return knowledge.techniques[knowledge.methods[method].technique].wet in LIQUIDS


@pytest.mark.parametrize("hydration", ["dry", "damp-not-ready", "unknown", "too-wet"])
def test_dry_specimen_gets_no_liquid_but_what_rehydrates_it(
    planner: Planner, knowledge: Knowledge, hydration: str
) -> None:
    # common practice: rehydrate before any water; of liquids a dry specimen gets water-free fat
    # solvents alone (greasy moths in acetone: degreasing-moths; in benzine: browne-taxidermy).
    for signs in (DUST, OILY, WAXY):
        case = case_with("beetles", "elytra", signs, hydration=hydration)
        plan = planner.plan(case, full_bench(knowledge))
        for step in plan.steps:
            method = knowledge.methods[step.before or step.method]
            is_fat_solvent = knowledge.techniques[method.technique].water_free
            assert not is_fat_solvent or hydration == "dry", step.id
            if is_wet(knowledge, step.method) and not is_fat_solvent:
                assert step.stage == "rehydrate", step.id


def test_loose_dust_gets_air_and_a_dry_soft_brush_first(
    planner: Planner, knowledge: Knowledge
) -> None:
    # common practice: dry before wet, air before touch.
    for hydration in ("dry", "supple"):
        case = case_with("beetles", "elytra", DUST, hydration=hydration)
        methods = rungs(planner.plan(case, Bench()))
        assert methods[:2] == ["puff-air", "brush-dry-soft"]
        wet = [m for m in methods if is_wet(knowledge, m)]
        assert all(methods.index(m) > 1 for m in wet)


def test_oily_matting_on_a_hairy_thorax_rises_from_aqueous_to_the_poison_last(
    planner: Planner, knowledge: Knowledge
) -> None:
    # common practice for the order; the prohibition of the poison before safer degreasers also
    # follows 40 CFR 751 subpart G (tetrachloroethylene, 2024).
    case = case_with("bees-wasps", "thorax-hairy", OILY)
    used = walk(planner, case, full_bench(knowledge), "no-change")
    order = [m for m in dict.fromkeys(used) if m != "test-spot"]
    assert order.index("wash-detergent") < order.index("ethanol-70-brush")
    chlorinated = order.index("tetrachloroethylene-brush")
    for safer in ("wash-detergent", "ethanol-90-brush", "ethyl-acetate-brush", "heptane-brush"):
        assert order.index(safer) < chlorinated, safer
    assert chlorinated == len(order) - 1
    assert "ethoxyethanol-brush" not in order


def test_glycol_ether_only_for_wax_after_every_safer_rung(
    planner: Planner, knowledge: Knowledge
) -> None:
    # common practice: the glycol ether takes wax where all else fails; NIOSH Current Intelligence
    # Bulletin 39 (1983) for putting it last.
    case = case_with("bees-wasps", "thorax-hairy", WAXY)
    used = walk(planner, case, full_bench(knowledge), "no-change")
    order = [m for m in dict.fromkeys(used) if m != "test-spot"]
    assert order[-1] == "ethoxyethanol-brush"
    assert "ethanol-70-brush" not in order  # its drop did nothing: no more of it
    for safer in ("wash-detergent", "heptane-brush", "dpg-ether-brush", "pg-ether-brush"):
        assert order.index(safer) < order.index("ethoxyethanol-brush"), safer


@pytest.mark.parametrize(
    ("signs", "named"),
    [
        *((signs, None) for signs in (OILY, WAXY, DUST, {}, FILM)),
        *((FILM, named) for named in ("oily-film", "waxy-matting", "eye-film", "soot-film")),
    ],
)
def test_no_chlorinated_solvent_and_no_glycol_ether_on_a_compound_eye(
    planner: Planner, knowledge: Knowledge, signs: dict[str, str], named: str | None
) -> None:
    # common practice: no chlorinated solvent on eyes.
    for taxon in ("flies", "beetles", "unknown"):
        case = case_with(taxon, "compound-eye", signs, named=named)
        for method in walk(planner, case, full_bench(knowledge), "no-change"):
            assert not classes(knowledge, method) & {
                "chlorinated",
                "glycol-ether-e",
                "glycol-ether-p",
            }


def test_eyes_get_soft_brush_and_surfactant_rinsed_and_repeated(
    planner: Planner, knowledge: Knowledge
) -> None:
    # common practice: dilute surfactant painted on with a soft brush, rinsed, repeated.
    signs = {"sheen": "dull", "colour": "mixed-grains", "lens-look": "film", "puff": "stays"}
    plan = planner.plan(case_with("flies", "compound-eye", signs), full_bench(knowledge))
    step = next(s for s in plan.steps if s.method == "eye-brush-surfactant")
    assert step.passes > 1
    assert step.rinse
    assert "brush" in step.tool


def test_natural_bloom_is_never_offered_a_cleaning_method(
    planner: Planner, knowledge: Knowledge
) -> None:
    # Futahashi et al. 2019 (eLife 8:e43045): the pruinose wax of dragonflies is the insect's own.
    for taxon in ("dragonflies", "beetles", "unknown"):
        plan = planner.plan(case_with(taxon, "abdomen-hard", BLOOM), full_bench(knowledge))
        assert plan.findings[0].deposit == "natural-bloom"
        assert rungs(plan) == []
        assert any(n.kind == "leave-it" for n in plan.notices)


def test_an_unknown_white_film_counts_as_bloom_until_shown_otherwise(
    planner: Planner, knowledge: Knowledge
) -> None:
    # common practice: natural features win doubt.
    plan = planner.plan(
        case_with("beetles", "abdomen-hard", {"colour": "white"}), full_bench(knowledge)
    )
    assert not [m for m in rungs(plan) if not knowledge.methods[m].harmless]
    assert plan.questions


def test_lacquer_is_refused_at_intake_with_the_reason(planner: Planner) -> None:
    # common practice: reject lacquered specimens.
    plan = planner.plan(case_with("beetles", "elytra", {}, lacquered="yes"), Bench())
    assert plan.stage == "intake"
    assert plan.steps == ()
    assert any("lacquer" in notice.text.lower() for notice in plan.refused)


@pytest.mark.parametrize("outcome", ["damage", "worse"])
def test_after_damage_nothing_is_offered_until_a_written_release(
    planner: Planner, outcome: str
) -> None:
    from datetime import UTC, datetime

    case = case_with("beetles", "elytra", DUST)
    when = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
    attempt = changes.new_attempt(
        "a1",
        when,
        "f1-puff-air",
        outcome,
        finding="f1",
        zone="elytra",
        deposit="loose-dust",
        method="puff-air",
    )
    held = changes.with_attempt(case, attempt)
    plan = planner.plan(held, Bench())
    assert plan.steps == ()
    assert [hold.attempt for hold in plan.held] == ["a1"]
    free = planner.plan(
        changes.with_release(held, when, "a1", "looked at it: only a loose seta"), Bench()
    )
    assert free.held == ()
    assert free.steps
    assert all(step.method != "puff-air" for step in free.steps)


def ladder_is_rising(plan: Plan) -> bool:
    worst = [s.harshness.worst for s in plan.steps if "-before-" not in s.id]
    return worst == sorted(worst)


@pytest.mark.parametrize("zone", ["elytra", "thorax-hairy", "leg", "abdomen-hard"])
@pytest.mark.parametrize("signs", [OILY, WAXY, DUST])
def test_the_ladder_never_steps_down_in_harshness(
    planner: Planner, knowledge: Knowledge, zone: str, signs: dict[str, str]
) -> None:
    plan = planner.plan(case_with("beetles", zone, signs), full_bench(knowledge))
    assert ladder_is_rising(plan)


def test_a_chemical_step_is_complete(planner: Planner, knowledge: Knowledge) -> None:
    plan = planner.plan(case_with("beetles", "elytra", OILY), full_bench(knowledge))
    chemical = [s for s in plan.steps if s.agent and knowledge.agents[s.agent].limits]
    assert chemical
    for step in chemical:
        assert step.amount_ml
        assert step.make_up
        assert step.success
        assert step.stop_points
        assert step.protection.gloves, step.id
        assert step.air is not None
        assert any(limit.ratio > 0 for limit in step.air.limits), step.id
        assert step.air.ventilation
        assert step.because
        assert step.rules
