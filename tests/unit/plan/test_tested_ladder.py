"""What a test has shown to do nothing is not a rung: least harm in all, not the longest list."""

from __future__ import annotations

import pytest

from tests.support.builders import case_with, full_bench, rungs
from tests.support.case_gen import speaking_signs
from tests.support.explaining import sweep_of
from tests.support.knowledge import consultant, planner, shipped
from triage.case.changes import with_sign
from triage.plan.model import Plan

# deposit, zone, test, the answer that did nothing, the method that falls away
TESTED = [
    ("foreign-scales", "elytra", "puff", "stays", "puff-air"),
    ("fingerprint", "elytra", "blotter", "nothing", "blot-dry"),
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
    assert ahead.ladder("f1").rungs == tuple(rungs(plan)), "look-ahead sees the same"
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


STRONG = 0.6  # DEVELOPERS.md, "To add a deposit": 0.6 strong
# Deposits of the trade that a drop of water must dissolve or swell; that it does nothing to them
# tells against it, whatever the eye and the person say.
WATER_SOLUBLE = [
    ("glue-gum-residue", "water-drop", "nothing"),
    ("sugar-honey", "water-drop", "nothing"),
]


def test_no_reading_is_settled_against_a_direct_test() -> None:
    tests = {q.id for q in shipped().questions.values() if q.risk != "none"}
    against = {
        (deposit, *pair)
        for deposit, weights in consultant().reach.against.items()
        for pair, weight in weights.items()
        if pair[0] in tests and weight <= -STRONG and shipped().deposits[deposit].guard == "none"
    }
    assert against.issuperset(WATER_SOLUBLE)
    for deposit, test, answer in sorted(against):
        told = {q: a for q, a in speaking_signs(consultant()).get(deposit, ()) if q != test}
        case = case_with("beetles", "elytra", {**told, test: answer}, named=deposit)
        (line,) = planner().plan(case, full_bench(shipped())).findings
        assert (line.deposit, line.standing) != (deposit, "settled"), (deposit, test, answer)


def test_age_alone_raises_care_and_stops_nothing() -> None:
    # Dust of old collections may hold arsenic or mercury (museum-dust-2019): it is not blown about.
    new, old = (
        planner().plan(
            case_with("beetles", "elytra", {}, named="loose-dust", age=age), full_bench(shipped())
        )
        for age in ("since-1990", "before-1990")
    )
    assert "puff-air" in rungs(new)
    assert "puff-air" not in rungs(old)
    assert set(rungs(old)) < set(rungs(new))
    assert "brush-dry-soft" in rungs(old)
    assert old.stage == new.stage
    cautions = {line.kind for line in old.steps[0].cautions}
    assert {"gloves", "breathing"} <= cautions
