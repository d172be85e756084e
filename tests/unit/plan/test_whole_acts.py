"""An act that is done to the whole insect is one step, wherever it serves; so a large case stays short.

That a bath, a chamber or a round of puffs reaches the whole insect at once is common practice.
"""

from __future__ import annotations

from collections import Counter
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

import pytest

from tests.support.builders import full_bench
from tests.support.explaining import sweep_of
from tests.support.intake import SOUND
from tests.support.knowledge import planner, shipped
from triage.case import changes
from triage.case.models import Case
from triage.case.store import create_case
from triage.errors import TriageError
from triage.exposure.day import DayLedger
from triage.plan.model import Plan, Step
from triage.plan.outcomes import closed_findings
from triage.service.workshop import Workshop, open_workshop
from triage.show.plan import plan_text

NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
DEPOSITS = ("loose-dust", "oily-film", "sugar-honey", "soil-mud", "glue-gum-residue", "fingerprint")
FINDINGS, ZONES, MOST_LINES = 60, 14, 150


@cache
def large_case() -> Case:
    """Return a bee with sixty findings over fourteen zones, of several deposits."""
    kind = shipped().taxa["bees-wasps"].plan
    zones = [zone.id for zone in shipped().zones.values() if kind in zone.plans][:ZONES]
    deposits = [each for each in DEPOSITS if each in shipped().deposits]
    findings = tuple(
        changes.new_finding(
            f"f{n + 1}", zones[n % ZONES], named=deposits[(5 * n + n // ZONES) % len(deposits)]
        )
        for n in range(FINDINGS)
    )
    return changes.new_case("large", taxon="bees-wasps", answers=dict(SOUND), findings=findings)


@cache
def large_plan() -> Plan:
    return planner().plan(large_case(), full_bench(shipped()))


def acts(plan: Plan) -> list[Step]:
    """Return the steps for findings that are done to the whole insect."""
    techniques = shipped().techniques
    return [s for s in plan.steps if techniques[s.technique].whole and s.finding and not s.before]


def test_the_plan_of_sixty_findings_is_short() -> None:
    lines = plan_text(large_plan()).splitlines()
    assert len(lines) <= MOST_LINES
    for number in range(1, FINDINGS + 1):
        assert any(f" f{number} " in f" {line} " for line in lines), "each finding is named"


def test_an_act_on_the_whole_insect_is_one_step_that_names_what_it_serves() -> None:
    found = acts(large_plan())
    # Eyes are worked apart: what is done to the rest does not serve them.
    eyes = {f.id for f in large_case().findings if "lens" in shipped().zones[f.zone].surface}
    many = Counter((step.method, step.findings[0] in eyes) for step in found)
    assert max(many.values()) == 1
    assert max(len(step.findings) for step in found) > ZONES
    assert all(eyes.issuperset(s.findings) or eyes.isdisjoint(s.findings) for s in found)
    served = Counter((step.method, finding) for step in found for finding in step.findings)
    assert max(served.values()) == 1


def test_no_ladder_is_turned_round_by_an_act_that_it_shares() -> None:
    bench = full_bench(shipped())
    judge = planner().judge(bench, DayLedger())
    skeleton = planner().maker.skeleton(large_case(), bench, judge)
    for ladder in (each for each in skeleton.ladders if each.target.finding):
        mine = [s for s in large_plan().steps if ladder.target.key in s.findings and not s.before]
        assert [step.method for step in mine] == list(ladder.rungs)


def test_look_ahead_begins_with_the_same_step() -> None:
    base = sweep_of(large_case(), full_bench(shipped())).base
    assert base.first.step == large_plan().steps[0].id


@pytest.fixture
def shop(tmp_path: Path) -> Workshop:
    findings = tuple(
        changes.new_finding(f"f{n}", zone, named="loose-dust")
        for n, zone in enumerate(("thorax-hairy", "leg", "compound-eye"), start=1)
    )
    case = changes.new_case("dusty", taxon="bees-wasps", answers=dict(SOUND), findings=findings)
    create_case(tmp_path, case)
    made = open_workshop(cases=tmp_path, clock=lambda: NOON)
    made.bench = full_bench(shipped())
    return made


def test_what_is_recorded_counts_for_every_finding_and_is_taken_back_at_once(
    shop: Workshop,
) -> None:
    step = next(s for s in acts(shop.plan(shop.load("dusty"))) if s.method == "puff-air")
    assert set(step.findings) == {"f1", "f2"}, "the eye has its own"
    case = shop.record("dusty", step.id, "cleared")
    assert len(case.attempts) == 1, "one act, one record"
    assert closed_findings(shipped(), shop.load("dusty")) == {"f1", "f2"}
    assert closed_findings(shipped(), shop.undo("dusty", "looked again")) == set()


def test_what_it_harmed_it_harms_wherever_it_serves(shop: Workshop) -> None:
    step = next(s for s in acts(shop.plan(shop.load("dusty"))) if s.method == "puff-air")
    shop.record("dusty", step.id, "damage")
    shop.release("dusty", "a1", "a hair moved; no more of it")
    left = acts(shop.plan(shop.load("dusty")))
    assert {f for s in left if s.method == "puff-air" for f in s.findings} == {"f3"}


def test_a_record_of_an_unknown_finding_is_refused() -> None:
    attempt = changes.new_attempt("a1", NOON, "f1-puff-air", "better", finding="f1", also=("f99",))
    with pytest.raises(TriageError, match='unknown finding "f99"'):
        changes.with_attempt(large_case(), attempt)
