"""Where only the bench keeps the next step away, the plan says what is missing and plans nothing."""

from __future__ import annotations

from tests.support.builders import case_with
from tests.support.knowledge import planner
from triage.case.profile import Bench
from triage.plan.model import Plan


def planned(bench: Bench) -> Plan:
    # Pests are killed by cold (museum-freezing-1999), and only a dry insect is frozen.
    case = case_with("beetles", "elytra", {}, live_pest_signs="yes", hydration="dry")
    return planner().plan(case, bench)


def missing(plan: Plan) -> list[str]:
    return [notice.text for notice in plan.notices if notice.rule == "bench-lacks"]


def test_what_is_missing_is_said() -> None:
    equipped, bare = planned(Bench()), planned(Bench(lacking=("freezer",)))
    assert equipped.steps
    assert missing(equipped) == []
    assert bare.steps == ()
    (text,) = missing(bare)
    assert "freezer" in text
    assert equipped.steps[0].name in text
