"""Where only open answers bar the way the plan names them.

Whole cases of the trade that rest on this stand in tests/casebook (degreasing, softening, setting), whole
plans in tests/knowledge/whole_plans.yaml.
"""

from __future__ import annotations

from datetime import UTC, datetime

from tests.support.builders import full_bench
from tests.support.intake import READY
from tests.support.knowledge import planner, shipped
from triage.case.changes import (
    new_attempt,
    new_case,
    new_finding,
    with_answers,
    with_attempt,
)
from triage.case.models import Case
from triage.plan.model import Plan

STICKY = {
    "came-from": "sticky-trap",
    "texture": "smooth-film",
    "sheen": "wet-gloss",
    "dry-brush": "sticks",
}
PASSED = {
    name: READY[name]
    for name in (
        "age", "lacquered", "old-poison-signs", "live-pest-signs",
        "mouldy-smell", "hydration", "joints-stuck", "aim", "photographed-before",
    )
}  # fmt: skip
CLOSED = {"leave-it", "full-stop"}


def glued_beetle(**more: str) -> Case:
    """Return a beetle out of a trap, whether whole, cracks, holes, losses and size not told."""
    finding = new_finding("f1", "elytra", signs=STICKY)
    answers = {**PASSED, "arrival": "set-on-pin", **more}
    return new_case("b", "b", taxon="beetles", answers=answers, findings=(finding,))


def planned(case: Case) -> Plan:
    return planner().plan(case, full_bench(shipped()))


def test_open_answers_are_named_and_nothing_is_given_up() -> None:
    plan = planned(glued_beetle())
    assert plan.findings[0].state == "waiting"
    (line,) = plan.waiting
    assert line.finding == "f1"
    assert {question.question for question in line.questions} <= set(shipped().questions)
    (notice,) = [n for n in plan.notices if n.kind == "waiting"]
    for question in line.questions:
        assert question.ask in notice.text
    assert line.method_name in notice.text
    assert not CLOSED & {notice.kind for notice in plan.notices}


def test_the_step_that_was_named_stands_open_once_they_are_answered() -> None:
    case = glued_beetle()
    (line,) = planned(case).waiting
    told = {q.question: READY[q.question] for q in line.questions if q.finding is None}
    assert len(told) == len(line.questions), "only questions about the specimen were open"
    after = planned(with_answers(case, told))
    assert line.method in {step.method for step in after.steps if step.finding == "f1"}
    assert after.waiting == ()


def test_a_bar_that_is_known_is_no_open_answer() -> None:
    """Open cracks and many holes are told: then the way is closed, and the plan says so."""
    plan = planned(glued_beetle(cracks="open", **{"pest-holes": "many", "missing-parts": "many"}))
    waits = {q.question for line in plan.waiting for q in line.questions}
    assert not waits & {"cracks", "pest-holes", "missing-parts"}


def test_a_method_that_is_used_up_is_no_way_on() -> None:
    # The one way on for a crust is its pick; made as often as it is made, nothing waits any more.
    signs = {"texture": "crust", "colour": "grey", "water-drop": "nothing", "acid-fizz": "nothing"}
    finding = new_finding("f1", "elytra", signs={**signs, "dry-brush": "ticks-hard"})
    case = new_case("crust", "crust", taxon="beetles", answers=PASSED, findings=(finding,))
    assert [step.method for step in planned(case).steps] == ["pick-dry"]
    passes = shipped().methods["pick-dry"].passes
    for number in range(passes):
        at = datetime(2026, 3, 4, 8 + number, tzinfo=UTC)
        told = {"finding": "f1", "zone": "elytra", "deposit": "lime-crust"}
        attempt = new_attempt(
            f"a{number + 1}", at, step="f1-pick-dry", method="pick-dry", outcome="no-change", **told
        )
        case = with_attempt(case, attempt)
    assert planned(case).waiting == ()
