"""No drop is offered on a place that its liquid must never touch; elsewhere it is, with its danger."""

from __future__ import annotations

import pytest

from tests.support.builders import full_bench
from tests.support.intake import SOUND
from tests.support.knowledge import planner, shipped
from triage.case import changes
from triage.plan.model import Plan
from triage.show.plan import plan_text

DROPS = {q.id for q in shipped().questions.values() if q.risk == "micro-test" and q.liquid}


def planned(taxon: str, zone: str, **answers: str) -> Plan:
    finding = changes.new_finding("f1", zone, signs={"sheen": "dull"})
    told = {**SOUND, **answers}
    case = changes.new_case("x", taxon=taxon, answers=told, findings=(finding,))
    return planner().plan(case, full_bench(shipped()))


def asked(plan: Plan) -> set[str]:
    return {q.question for q in plan.questions} & DROPS


# Solvents dent or strip the lenses, ammonia takes up the copper of a brass pin: common practice.
@pytest.mark.parametrize(
    ("place", "never"),
    [
        (("flies", "compound-eye", {}), {"ethanol-drop", "heptane-drop", "ammonia-drop"}),
        (("beetles", "thorax-hard", {"pin": "brass"}), {"ammonia-drop"}),
    ],
)
def test_a_drop_that_must_not_touch_the_place_is_not_asked_for(
    place: tuple[str, str, dict[str, str]], never: set[str]
) -> None:
    taxon, zone, answers = place
    plan = planned(taxon, zone, **answers)
    untested = {test.question for test in plan.untested}
    assert never <= untested
    assert not untested & asked(plan)
    assert all(test.because for test in plan.untested)


def test_elsewhere_it_is_asked_for_with_what_it_does() -> None:
    plan = planned("beetles", "thorax-hard")
    assert plan.untested == ()
    assert "ethanol-drop" in asked(plan)
    text = " ".join(plan_text(plan, whole=True).split())
    assert "It needs a small test on a hidden spot." in text
