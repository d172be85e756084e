"""What only makes ready for the act never closes what the act is for.

A rinse says nothing of whether the joint moves, nor dry hair of whether the body is firm: their
own success lines in rules/methods say what they show.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

import pytest

from tests.support.builders import full_bench
from tests.support.intake import SOUND
from tests.support.knowledge import consultant, planner, shipped
from triage.case.changes import new_attempt, new_case, new_finding, with_accepted, with_attempt
from triage.case.models import Case
from triage.case.store import create_case
from triage.explain.counterfactual import tried
from triage.explain.sweep import Lookahead
from triage.knowledge.rules import Family
from triage.plan.model import Step
from triage.plan.outcomes import answers_after, condition_target, progress_of
from triage.service.workshop import Workshop, open_workshop

NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


def at_relaxing() -> Case:
    """Return a case whose joints stay stuck after the milder step was used up."""
    looked_at = new_finding("f1", "elytra")
    answers = {**SOUND, "joints-stuck": "some"}
    case = new_case("card", "test", taxon="beetles", answers=answers, findings=(looked_at,))
    dip = shipped().methods["dip-ammonia-surfactant"]
    for number in range(1, dip.passes + 1):
        attempt = new_attempt(
            f"a{number}", NOON, f"case-stuck-joints-{dip.id}", "no-change",
            deposit="stuck-joints", method=dip.id, agent=dip.agent, amount_ml=10.0,
        )  # fmt: skip
        case = with_attempt(case, attempt)
    return case


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    create_case(tmp_path, at_relaxing())
    made = open_workshop(cases=tmp_path, clock=lambda: NOON)
    made.bench = full_bench(shipped())
    return made


def next_step(shop: Workshop) -> Step:
    step = shop.plan(shop.load("card")).next_step()
    assert step is not None
    return step


def test_a_neutral_rinse_recorded_cleared_does_not_say_that_the_joints_move(shop: Workshop) -> None:
    rinse = next_step(shop)
    assert (rinse.method, rinse.before) == ("rinse-neutral", "pepsin-joint")
    before = shop.load("card").answers["joints-stuck"]
    case = shop.record("card", rinse.id, "cleared", observed="the strip is neutral")
    assert case.answers["joints-stuck"] == before != "none"
    act = next_step(shop)
    assert (act.method, act.before) == ("pepsin-joint", None)
    case = shop.record("card", act.id, "cleared", observed="it gives")
    assert case.answers["joints-stuck"] == "none"


def hairy() -> Case:
    """Return a hairy insect that is clean and not yet set."""
    answers = {**SOUND, "set-firm": "moves", "size": "medium"}
    finding = new_finding("f1", "thorax-hairy")
    case = new_case("card", "test", taxon="bees-wasps", answers=answers, findings=(finding,))
    return with_accepted(case, "f1", "a stain that stays")


def dried(case: Case, outcome: str = "cleared") -> Case:
    attempt = new_attempt(
        "a1",
        NOON,
        "case-unset-dry-hair-moving-air",
        outcome,
        deposit="unset",
        method="dry-hair-moving-air",
    )
    return with_attempt(case, attempt)


def test_dry_hair_recorded_cleared_leads_on_to_the_pose() -> None:
    done = progress_of(shipped(), dried(hairy()), condition_target("unset"))
    assert done.cleared_by is None
    assert done.done("dry-hair-moving-air") == 1
    bench = full_bench(shipped())
    first = planner().plan(hairy(), bench)
    assert first.stage == "set-and-dry"
    assert "dry-hair-moving-air" in [step.method for step in first.steps]
    after = planner().plan(dried(hairy()), bench)
    assert after.stage == "set-and-dry"
    methods = [step.method for step in after.steps]
    assert "dry-hair-moving-air" not in methods
    assert "set-pins-mesh" in methods


def test_the_act_recorded_cleared_still_closes_its_condition() -> None:
    attempt = new_attempt(
        "a1", NOON, "case-unset-set-pins-mesh", "cleared", deposit="unset", method="set-pins-mesh"
    )
    done = progress_of(shipped(), with_attempt(hairy(), attempt), condition_target("unset"))
    assert done.cleared_by == "a1"


def test_a_preparation_leaves_a_condition_closed_that_the_act_closed() -> None:
    case = hairy()
    for number, method in enumerate(("set-pins-mesh", "dry-hair-moving-air"), 1):
        attempt = new_attempt(
            f"a{number}", NOON, f"case-unset-{method}", "cleared", deposit="unset", method=method
        )
        case = with_attempt(case, attempt)
    assert progress_of(shipped(), case, condition_target("unset")).cleared_by == "a1"


def test_what_if_a_preparation_went_well_closes_nothing_either() -> None:
    look = Lookahead(consultant(), full_bench(shipped()))
    case = at_relaxing()
    item = look.of_case(case).first
    assert item is not None
    assert item.method == "rinse-neutral"
    after = tried(look, case, item, "cleared")
    assert after.answers["joints-stuck"] == case.answers["joints-stuck"]


def test_every_method_that_stands_before_another_is_called_a_preparation() -> None:
    inserted = {
        r.then["insert"]["first"] for r in shipped().rules[Family.ORDER] if "insert" in r.then
    }
    assert inserted
    kinds = {shipped().methods[method].outcomes for method in inserted}
    assert not any(shipped().outcomes[kind].closes for kind in kinds)


@pytest.mark.parametrize(
    ("outcome", "told", "after"),
    [
        ("no-change", {}, {"whole": "whole"}),
        ("no-change", {"whole": "parts-loose"}, {}),
        ("damage", {}, {}),
        ("not-done", {}, {}),
    ],
)
def test_what_came_through_a_jar_without_harm_is_whole(
    outcome: str, told: dict[str, str], after: dict[str, str]
) -> None:
    # What hangs loose comes off in the jar (judgement); what a person told stands.
    jar = new_attempt("a1", NOON, "f1-jar", outcome, method="degrease-jar-acetone-hour")
    assert answers_after(shipped(), jar, told) == after
