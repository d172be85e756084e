"""What the bench refuses, lacks or cannot wear stays out of the plan, with the reason."""

from __future__ import annotations

from typing import Any

import pytest

from tests.support.builders import OILY, WAXY, case_with, full_bench, rungs
from tests.support.intake import SOUND
from triage.case.changes import new_case, new_finding
from triage.case.profile import Bench
from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.plan.ladder import check_bench
from triage.plan.planner import Planner


def bench_with(knowledge: Knowledge, **changed: Any) -> Bench:
    return full_bench(knowledge).model_copy(update=changed)


def agents_of(knowledge: Knowledge, methods: list[str]) -> set[str]:
    return {agent for method in methods for agent in agent_ids(knowledge, method)}


def test_refused_agent_is_not_planned_and_the_reason_is_told(
    planner: Planner, knowledge: Knowledge
) -> None:
    case = case_with("bees-wasps", "thorax-hairy", OILY)
    full = full_bench(knowledge)
    assert "ethyl-acetate" in agents_of(knowledge, rungs(planner.plan(case, full)))
    refused = Bench.model_validate(
        {**full.plain(), "refused": ({"agent": "ethyl-acetate", "because": "not sold here"},)}
    )
    plan = planner.plan(case, refused)
    assert "ethyl-acetate" not in agents_of(knowledge, rungs(plan))
    told = [e for e in plan.excluded if e.rule == "bench-refused" and e.offered]
    assert told
    assert all("not sold here" in e.because for e in told)


@pytest.mark.parametrize("circumstance", ["pregnancy", "asthma", "no-hood"])
def test_circumstance_keeps_every_agent_that_is_not_for_it_out(
    planner: Planner, knowledge: Knowledge, circumstance: str
) -> None:
    case = case_with("bees-wasps", "thorax-hairy", WAXY)
    barred = {a.id for a in knowledge.agents.values() if circumstance in a.not_for}
    before = agents_of(knowledge, rungs(planner.plan(case, full_bench(knowledge))))
    plan = planner.plan(case, bench_with(knowledge, circumstances=(circumstance,)))
    after = agents_of(knowledge, rungs(plan))
    assert not after & barred
    assert after == before - barred or after < before


def test_pregnancy_keeps_the_reprotoxic_agents_out(planner: Planner, knowledge: Knowledge) -> None:
    # 2-ethoxyethanol: toxic for reproduction, NIOSH Current Intelligence Bulletin 39 (1983).
    case = case_with("bees-wasps", "thorax-hairy", WAXY)
    assert "ethoxyethanol-2" in agents_of(
        knowledge, rungs(planner.plan(case, full_bench(knowledge)))
    )
    plan = planner.plan(case, bench_with(knowledge, circumstances=("pregnancy",)))
    assert "ethoxyethanol-2" not in agents_of(knowledge, rungs(plan))


def test_only_stock_plans_only_what_is_on_the_shelf(planner: Planner, knowledge: Knowledge) -> None:
    full = full_bench(knowledge)
    stock = ({"agent": "water-distilled"}, {"agent": "detergent-neutral"})
    bench = Bench.model_validate({**full.plain(), "only_stock": True, "stock": stock})
    plan = planner.plan(case_with("bees-wasps", "thorax-hairy", OILY), bench)
    assert agents_of(knowledge, rungs(plan)) <= {"water-distilled", "detergent-neutral"}
    assert any(e.rule == "bench-no-stock" for e in plan.excluded)


def test_lacking_equipment_is_named(planner: Planner, knowledge: Knowledge) -> None:
    case = case_with("bees-wasps", "thorax-hairy", OILY)
    assert "blot-warm" in rungs(planner.plan(case, full_bench(knowledge)))
    plan = planner.plan(case, bench_with(knowledge, lacking=("warm-plate",)))
    assert "blot-warm" not in rungs(plan)
    assert any(e.method == "blot-warm" and e.rule == "bench-lacks" for e in plan.excluded)


def test_gloves_that_do_not_hold_keep_a_skin_poison_out(
    planner: Planner, knowledge: Knowledge
) -> None:
    case = case_with("bees-wasps", "thorax-hairy", WAXY)
    plan = planner.plan(case, bench_with(knowledge, gloves=("natural-rubber",)))
    assert "ethoxyethanol-2" not in agents_of(knowledge, rungs(plan))
    assert any(e.rule == "bench-gloves" for e in plan.excluded)


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
    found = new_finding("f1", "elytra", signs={**signs, "keep": "no"})
    told = {**SOUND, "arrival": "set-on-pin", "aim": "only-cleaning", "hydration": "dry", **answers}
    case = new_case("m", "m", taxon="beetles", answers=told, findings=(found,))
    room = {"control": "window", "place": "home"}
    bare = planner.plan(case, Bench.model_validate({"name": "b", "room": room}))
    mask = {"name": "b", "room": room, "equipment": ("respirator-particle",)}
    worn = planner.plan(case, Bench.model_validate(mask))
    assert {s.method for s in bare.steps if s.stage == "clean"} == without
    assert wearing <= {s.method for s in worn.steps}
    said = [n.text for n in bare.notices if n.kind == "bench"]
    said += [e.because for e in bare.excluded if e.offered]
    assert any("particle mask" in text for text in said)
