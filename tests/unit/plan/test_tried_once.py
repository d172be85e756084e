"""A trial spot is made once for each liquid and kind of surface, wherever on the insect it serves.

That it is the same kind of surface is what the order rule of the test spot asks.
"""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from tests.support.builders import OILY, full_bench
from tests.support.explaining import sweep_of
from tests.support.intake import SOUND
from tests.support.knowledge import planner, shipped
from triage.case import changes
from triage.case.models import Case
from triage.plan.model import Plan

SPOT = "test-spot-before-"


# Two of one kind of surface, and one with structural colour, which is another.
ONE, SAME, OTHER = "thorax-hard", "abdomen-hard", "elytra"


def greasy(*zones: str) -> Case:
    findings = [changes.new_finding(f"f{n}", z, signs=OILY) for n, z in enumerate(zones, start=1)]
    return changes.new_case("x", taxon="beetles", answers=dict(SOUND), findings=tuple(findings))


def planned(case: Case) -> Plan:
    return planner().plan(case, full_bench(shipped()))


def spots(plan: Plan, finding: str) -> set[str]:
    return {s.id.split(SPOT)[1] for s in plan.steps if s.finding == finding and SPOT in s.id}


def after_spot(case: Case, outcome: str) -> tuple[Case, str]:
    """Return the case after the first trial spot on its first finding, and the liquid tried."""
    step = next(s for s in planned(case).steps if s.finding == "f1" and SPOT in s.id)
    told = {name: getattr(step, name) for name in ("finding", "zone", "method", "agent")}
    at = datetime(2026, 3, 4, 8, 0, tzinfo=UTC)
    attempt = changes.new_attempt("a1", at, step.id, outcome, **told)
    return changes.with_attempt(case, attempt), str(step.before)


def test_a_surface_is_tried_once_with_each_liquid() -> None:
    surface = {name: shipped().zones[name].surface for name in (ONE, SAME, OTHER)}
    assert set(surface[ONE]) == set(surface[SAME]) != set(surface[OTHER])
    plan = planned(greasy(ONE, SAME, OTHER))
    assert spots(plan, "f1")
    assert not spots(plan, "f1") & spots(plan, "f2")
    assert spots(planned(greasy(SAME)), "f1") <= spots(plan, "f1") | spots(plan, "f2")
    assert spots(plan, "f3") == spots(planned(greasy(OTHER)), "f1"), "another surface has its own"
    order = [step.id for step in plan.steps]
    tried = [s for s in plan.steps if SPOT in s.id and s.finding != "f3"]
    for spot in tried:
        agent = spot.id.split(SPOT)[1]
        served = [s.id for s in plan.steps if s.agent == agent and s.finding in ("f1", "f2")]
        wet = [each for each in served if each.split("-", 1)[1] == spot.before]
        assert wet
        assert all(order.index(spot.id) < order.index(each) for each in wet)


@pytest.mark.parametrize("outcome", ["no-change", "damage"])
def test_what_a_spot_showed_counts_wherever_the_surface_is_the_same(outcome: str) -> None:
    case, method = after_spot(greasy(ONE, SAME, OTHER), outcome)
    if outcome == "damage":
        case = changes.with_release(case, datetime(2026, 3, 4, 9, tzinfo=UTC), "a1", "looked at it")
    plan = planned(case)
    offered = {s.finding for s in plan.steps if s.method == method and SPOT not in s.id}
    agent = shipped().methods[method].agent
    tried = {s.finding for s in plan.steps if s.id.endswith(f"{SPOT}{agent}")}
    assert offered == ({"f3"} if outcome == "damage" else {"f1", "f2", "f3"})
    assert tried == {"f3"}
    ahead = sweep_of(case, full_bench(shipped())).base.standing
    assert {ladder.target.key for ladder in ahead if method in ladder.rungs} == offered
