"""A step over a limit is never offered as it is; the sentence says limit, factor and mend.

The amounts are checked against hand arithmetic, not against the judge itself: in a closed room
everything that evaporates stays, so the mean of the day is mass over volume.
"""

from __future__ import annotations

import random
import re
from datetime import UTC, datetime

from hypothesis import given
from hypothesis import strategies as st

from tests.support.case_gen import draw_case
from tests.support.knowledge import consultant, planner, shipped
from triage.case.profile import Bench, RoomProfile
from triage.exposure.day import DayLedger, Release
from triage.exposure.gas import saturation_mg_per_m3, vapour_kpa_at
from triage.plan.airjudge import AirJudge
from triage.plan.substances import release_min_of, strength_fraction

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
