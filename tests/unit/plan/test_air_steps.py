"""A step over a limit is never offered as it is; the sentence says limit, factor and mend.

The amounts are checked against hand arithmetic, not against the judge itself: in a closed room
everything that evaporates stays, so the mean of the day is mass over volume.
"""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.case_gen import draw_case
from tests.support.knowledge import consultant, planner, shipped
from triage.case.changes import new_case, new_finding, with_attempt, with_correction
from triage.case.models import Attempt, Case
from triage.case.profile import Bench, RoomProfile
from triage.case.store import create_case
from triage.exposure.day import DayLedger, Release
from triage.exposure.gas import saturation_mg_per_m3, vapour_kpa_at
from triage.plan.airjudge import AirJudge
from triage.plan.substances import day_ledger, release_min_of, strength_fraction
from triage.service.workshop import open_workshop

KNOWLEDGE = shipped()
WET = sorted(m.id for m in KNOWLEDGE.methods.values() if m.agent and m.amount)
CONTROLS = ("none", "window", "extraction", "hood", "outdoors", "unknown")
volumes = st.floats(2.0, 300.0)
air_changes = st.none() | st.floats(0.0, 20.0)
NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


def bench_of(volume: float, changes: float | None, control: str) -> Bench:
    room = RoomProfile(volume_m3=volume, air_changes_per_h=changes, control=control)
    return Bench(room=room)


def ledger_of(agent: str | None, grams: float) -> DayLedger:
    if agent is None:
        return DayLedger()
    judge = AirJudge(KNOWLEDGE, Bench(), DayLedger())
    return DayLedger((Release(600.0, grams * 1000.0, agent),), (judge.substance(agent),))


@given(st.sampled_from(WET), volumes)
def test_closed_room_amount_stays_under_every_eight_hour_limit(
    method_id: str, volume: float
) -> None:
    """Mass over volume, everything evaporated at the latest possible moment, by hand."""
    method = KNOWLEDGE.methods[method_id]
    judge = AirJudge(KNOWLEDGE, bench_of(volume, 0.0, "none"), DayLedger())
    choice = judge.choose(method)
    substance = judge.substance(method.agent)
    twas = [each.value_mg_per_m3 for each in substance.limits if each.basis == "twa"]
    if (
        choice.refused
        or not twas
        or substance.airborne == "none"
        or substance.density_g_per_ml is None
    ):
        return
    share = strength_fraction(method.strength) * method.amount.open_share
    level = choice.amount_ml * substance.density_g_per_ml * 1000.0 * share / volume
    if substance.vapour_points and substance.molar_mass_g_per_mol:
        kpa = vapour_kpa_at(substance.vapour_points, 20.0)
        level = min(level, float(saturation_mg_per_m3(kpa, substance.molar_mass_g_per_mol, 20.0)))
    mean = level * (1.0 - release_min_of(judge.knowledge, method) / 960.0)
    assert mean <= KNOWLEDGE.judgement.margin.value * min(twas) * (1.0 + 1e-6)


@given(
    st.sampled_from(WET),
    volumes,
    air_changes,
    st.sampled_from(CONTROLS),
    st.sampled_from((None, "ethanol", "acetone")),
    st.floats(0.0, 50.0),
)
def test_offered_as_it_is_lowered_or_left_out(
    method_id: str,
    volume: float,
    changes: float | None,
    control: str,
    earlier: str | None,
    grams: float,
) -> None:
    method = KNOWLEDGE.methods[method_id]
    judge = AirJudge(KNOWLEDGE, bench_of(volume, changes, control), ledger_of(earlier, grams))
    choice = judge.choose(method)
    if choice.refused:
        assert choice.amount_ml is None
        assert says_limit_factor_and_mend(choice.refused), choice.refused
        return
    if choice.line is None:  # neither hazardous nor limited, such as water
        assert not KNOWLEDGE.agents[method.agent].limits
        assert not KNOWLEDGE.agents[method.agent].hazards
        return
    assert choice.line.verdict != "over"
    assert method.amount.least_ml <= choice.amount_ml <= method.amount.typical_ml
    for limit in choice.line.limits:
        allowed = judge.margin if limit.basis == "twa" else 1.0
        assert not limit.judged or limit.ratio <= allowed * (1.0 + 1e-3), limit
    if choice.amount_ml < method.amount.typical_ml:
        assert choice.because.startswith("lowered from")
        assert says_limit_factor_and_mend(choice.because), choice.because


def says_limit_factor_and_mend(sentence: str) -> bool:
    names = {a.name for a in KNOWLEDGE.authorities.values()} | set(KNOWLEDGE.authorities)
    names |= {getattr(a, "short_name", "") for a in KNOWLEDGE.authorities.values()} - {""}
    says_limit = (
        any(re.search(rf"\b{re.escape(name)} ", sentence) for name in names)
        or "limit" in sentence
        or "danger-to-life" in sentence
    )
    says_factor = re.search(r"[\d.]+ (times|%)", sentence) is not None
    says_mend = re.search(
        r"use at most [\d.]+ mL|use another agent|become[s]? possible with|remove every source",
        sentence,
    )
    return says_limit and says_factor and says_mend is not None


@given(st.sampled_from(WET), st.floats(2.0, 40.0), st.sampled_from(("none", "unknown", "window")))
def test_named_control_really_mends(method_id: str, volume: float, control: str) -> None:
    """What a refusal promises is tried: the same bench with that control offers the method."""
    method = KNOWLEDGE.methods[method_id]
    bench = bench_of(volume, None, control)
    refused = AirJudge(KNOWLEDGE, bench, DayLedger()).choose(method).refused
    promised = re.search(r"becomes possible with: (.+?), at most", refused)
    if promised is None:
        return
    named = next(c.id for c in KNOWLEDGE.controls.values() if c.name == promised.group(1))
    better = AirJudge(KNOWLEDGE, bench_of(volume, None, named), DayLedger())
    assert better.choose(method).refused == ""


@given(st.sampled_from(WET), volumes)
def test_unknown_ventilation_counts_as_none(method_id: str, volume: float) -> None:
    method = KNOWLEDGE.methods[method_id]
    unknown = AirJudge(KNOWLEDGE, bench_of(volume, None, "unknown"), DayLedger()).choose(method)
    none = AirJudge(KNOWLEDGE, bench_of(volume, 0.0, "none"), DayLedger()).choose(method)
    assert (unknown.amount_ml, unknown.refused) == (none.amount_ml, none.refused)
    if unknown.line is not None:
        assert unknown.line.limits == none.line.limits
        assert unknown.line.reentry_min == none.line.reentry_min


@pytest.mark.parametrize("seed", range(25))
def test_no_step_of_any_plan_is_over(seed: int) -> None:
    rng = random.Random(seed)
    case = draw_case(consultant(), rng, f"drawn-{seed}")
    bench = bench_of(
        rng.choice((4.0, 12.0, 30.0)), rng.choice((None, 0.0, 1.0)), rng.choice(CONTROLS)
    )
    day = ledger_of(rng.choice((None, "ethanol", "ethyl-acetate")), rng.choice((1.0, 20.0)))
    for step in planner().plan(case, bench, day).steps:
        assert step.air is None or step.air.verdict != "over", step.id


def test_plan_says_why_a_step_was_left_out() -> None:
    """A tight closed room after a heavy morning: the solvent rungs go, each with its sentence."""
    bench = bench_of(6.0, 0.0, "none")
    heavy = ledger_of("ethyl-acetate", 60.0)
    left_out = [
        e
        for seed in range(40)
        for e in planner().plan(draw_case(consultant(), random.Random(seed)), bench, heavy).excluded
        if e.rule == "air-limit"
    ]
    assert left_out
    assert all(e.interlock and says_limit_factor_and_mend(e.because) for e in left_out)


def attempt_of(number: int, at: datetime, outcome: str = "better", ml: float = 2.0) -> Attempt:
    return Attempt(
        id=f"a{number}",
        at=at,
        step="f1-x",
        finding="f1",
        method=SOLVENT,
        agent=KNOWLEDGE.methods[SOLVENT].agent,
        outcome=outcome,
        amount_ml=ml,
    )


SOLVENT = next(
    m
    for m in WET
    if KNOWLEDGE.methods[m].agent == "ethanol"
    and strength_fraction(KNOWLEDGE.methods[m].strength) > 0.5
)


def case_with(name: str, *attempts: Attempt) -> Case:
    case = new_case(name, name, taxon="flies", findings=(new_finding("f1", "thorax-hairy"),))
    for attempt in attempts:
        case = with_attempt(case, attempt)
    return case


def test_day_counts_every_attempt_of_today_on_every_case(tmp_path: Path) -> None:
    """Total by hand: 2 mL at the density of the agent's file, on each of three cases."""
    cases = tmp_path / "cases"
    cases.mkdir()
    for number in range(3):
        create_case(
            cases, case_with(f"case-{number}", attempt_of(1, NOON - timedelta(hours=number + 1)))
        )
    workshop = open_workshop(cases=cases, clock=lambda: NOON)
    method = KNOWLEDGE.methods[SOLVENT]
    density = KNOWLEDGE.agents["ethanol"].physical.density.value
    each_mg = 2.0 * density * strength_fraction(method.strength) * method.amount.open_share * 1000.0
    ledger = workshop.day()
    assert [r.minute_of_day for r in ledger.releases] == [540.0, 600.0, 660.0]
    assert sum(r.amount_mg for r in ledger.releases) == pytest.approx(3 * each_mg)
    fresh = AirJudge(KNOWLEDGE, Bench(), DayLedger()).choose(method)
    later = AirJudge(KNOWLEDGE, Bench(), ledger).choose(method)
    assert fresh.line is not None
    assert later.refused or later.line.mean_8_h_mg_per_m3 > fresh.line.mean_8_h_mg_per_m3


def test_day_counts_a_corrected_amount_once() -> None:
    case = case_with("mended", attempt_of(1, NOON - timedelta(hours=1), ml=5.0))
    mended = with_correction(case, "a1", NOON, outcome="better", note="it was less", amount_ml=2.0)
    whole = day_ledger(KNOWLEDGE, (case,), NOON).releases[0].amount_mg
    (left,) = day_ledger(KNOWLEDGE, (mended,), NOON).releases
    assert left.amount_mg == pytest.approx(whole * 2.0 / 5.0)
