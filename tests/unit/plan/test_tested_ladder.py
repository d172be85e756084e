"""What a test has shown to do nothing is not a rung: least harm in all, not the longest list."""

from __future__ import annotations

import pytest

from tests.support.builders import case_with, full_bench, rungs
from tests.support.explaining import sweep_of
from tests.support.knowledge import planner, shipped
from triage.case.changes import with_sign
from triage.plan.model import Plan

# deposit, zone, test, the answer that did nothing, the method that falls away
TESTED = [
    ("foreign-scales", "elytra", "puff", "stays", "puff-air"),
    ("oily-film", "elytra", "blotter", "nothing", "blot-dry"),
    ("oily-film", "elytra", "warmth", "no-change", "blot-warm"),
    ("oily-film", "elytra", "ethanol-drop", "nothing", "ethanol-70-brush"),
    ("soot-film", "elytra", "heptane-drop", "nothing", "heptane-brush"),
]


def planned(deposit: str, zone: str, **signs: str) -> Plan:
    # Named, and with the signs that keep a film settled whatever one test says against it.
    seen = {"sheen": "wet-gloss", "setae": "points"} if deposit == "oily-film" else {}
    case = case_with("beetles", zone, seen, named=deposit)
    for question, answer in signs.items():
        case = with_sign(case, "f1", question, answer)
    bench = full_bench(shipped())
    plan = planner().plan(case, bench)
    ahead = sweep_of(case, bench).base
    assert dict(ahead.rungs).get("f1", ()) == tuple(rungs(plan)), "look-ahead sees the same"
    return plan


@pytest.mark.parametrize(("deposit", "zone", "test", "answer", "method"), TESTED)
def test_what_did_nothing_is_left_out_with_the_reason(
    deposit: str, zone: str, test: str, answer: str, method: str
) -> None:
    before, after = planned(deposit, zone), planned(deposit, zone, **{test: answer})
    assert method in rungs(before), "what was not tested is offered"
    assert method not in rungs(after)
    (told,) = [e for e in after.excluded if e.method == method and e.offered]
    assert not told.interlock
