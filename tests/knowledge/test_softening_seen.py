"""What bars touch bars more than touch, and nothing is given up before anything was tried."""

from __future__ import annotations

import pytest

from tests.support.builders import full_bench
from tests.support.intake import SOUND
from tests.support.knowledge import planner, shipped
from triage.case.changes import new_case
from triage.plan.model import Plan

RUIN = {"cracks": "open", "pest-holes": "many", "missing-parts": "many", "relaxed-before": "more"}
GROUPS = ("beetles", "bees-wasps", "true-bugs")


def stiff(taxon: str, **answers: str) -> Plan:
    told = {**SOUND, "joints-stuck": "some", **answers}
    return planner().plan(new_case("stiff", taxon=taxon, answers=told), full_bench(shipped()))


@pytest.mark.parametrize("taxon", GROUPS)
@pytest.mark.parametrize("hydration", ["supple", "dry"])
def test_one_stuck_joint_is_no_full_stop_before_anything_was_tried(
    taxon: str, hydration: str
) -> None:
    """Damp first, then dilute ammonia, then pepsin. Source: Purdue, relaxing and spreading."""
    plan = stiff(taxon, hydration=hydration)
    assert plan.steps
    assert "full-stop" not in {notice.kind for notice in plan.notices}


@pytest.mark.parametrize("taxon", GROUPS)
def test_a_ruin_gets_no_soak_and_no_damp_where_a_sound_one_does(taxon: str) -> None:
    """What is eaten hollow, cracked and softened twice falls apart in water. Common practice."""
    assert stiff(taxon, hydration="dry").steps
    ruin = stiff(taxon, hydration="dry", **RUIN)
    contacts = {shipped().techniques[step.technique].contact for step in ruin.steps}
    assert contacts <= {"none"}
    assert not [step for step in ruin.steps if shipped().techniques[step.technique].wet == "wet"]
