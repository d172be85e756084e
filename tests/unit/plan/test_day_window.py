"""The air of the last 24 hours: nothing is forgotten, and what cannot be read is never nothing."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.support.builders import OILY, case_with, full_bench
from tests.support.knowledge import consultant, planner, shipped
from triage.case import changes
from triage.case.models import Case
from triage.case.profile import Bench
from triage.case.store import create_case
from triage.explain.sweep import Lookahead
from triage.exposure.day import DayLedger
from triage.history.benchday import DayAir
from triage.history.daytypes import PutDown
from triage.knowledge.methods import Method
from triage.plan import aircalc, daycalc
from triage.plan.airjudge import AirJudge
from triage.plan.answers import Means
from triage.plan.inputs import AirQuestion
from triage.plan.skeleton import SkeletonMaker
from triage.plan.substances import day_ledger, earliest, strength_fraction
from triage.service.workshop import open_workshop

KNOWLEDGE = shipped()
EVENING = datetime(2026, 3, 4, 23, 59, tzinfo=timezone(timedelta(hours=1)))
NINE = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)
BRUSH = KNOWLEDGE.methods["ethyl-acetate-brush"]
LOST = DayLedger(unknown=("old.yaml cannot be read",))


def case_of(at: datetime, **fields: Any) -> Case:
    given = {
        "finding": "f1", "method": BRUSH.id, "agent": BRUSH.agent, "amount_ml": 5.0, "minutes": 2.0,
        **fields,
    }  # fmt: skip
    attempt = changes.new_attempt("a1", at, "f1-some-step", "better", **given)
    return changes.with_attempt(case_with("beetles", "elytra", OILY), attempt)


def ledger(at: datetime, now: datetime, **fields: Any) -> DayLedger:
    return day_ledger(KNOWLEDGE, [case_of(at, **fields)], now)


def gives_off(method: Method) -> bool:
    """Return whether a liquid that harms or has a limit reaches the air, from the entries alone."""
    parts = [method.agent] if method.agent else []
    parts += [p.agent for p in method.with_ if p.strength and p.strength.unit.startswith("%")]
    agents = [KNOWLEDGE.agents[agent] for agent in parts]
    return method.amount is not None and any(
        (a.hazards or a.limits)
        and (a.physical.vapour_pressure or a.limits or a.vapour_of)
        and not (a.vapour_share is not None and a.vapour_share.value == 0.0)
        for a in agents
    )


def test_midnight_forgets_nothing() -> None:
    before = ledger(EVENING, EVENING)
    after = ledger(EVENING, EVENING + timedelta(minutes=2))
    assert [r.amount_mg for r in after.releases] == [r.amount_mg for r in before.releases]
    assert after.releases[0].minute_of_day == -1.0
    assert after.now_min == 0.0


@given(st.floats(0, 24 * 60), st.integers(-12, 14))
def test_a_release_counts_for_a_whole_day_in_every_zone(minutes: float, zone: int) -> None:
    now = (EVENING + timedelta(minutes=minutes)).astimezone(timezone(timedelta(hours=zone)))
    found = ledger(EVENING, now)
    assert len(found.releases) == 1
    # It stands as far before the present moment as it was, to the second.
    moment = now.hour * 60 + now.minute + now.second / 60
    assert moment - found.releases[0].minute_of_day == pytest.approx(minutes, abs=1 / 30)
    assert earliest(now) <= EVENING


def test_a_release_counts_until_a_day_after_its_end_and_what_was_not_done_never() -> None:
    undone = changes.with_correction(
        case_of(NINE), "a1", NINE, outcome="not-done", note="wrong key"
    )
    assert day_ledger(KNOWLEDGE, [undone], NINE).releases == ()
    late = EVENING + timedelta(hours=26)
    assert ledger(EVENING, late).releases == ()
    assert len(ledger(EVENING, late, minutes=240.0).releases) == 1


@given(st.floats(0.1, 365 * 24))
def test_a_clock_set_back_counts_as_released_now(hours: float) -> None:
    now = EVENING - timedelta(hours=hours)
    found = ledger(EVENING, now)
    (release,) = found.releases
    assert release.minute_of_day == found.now_min
    assert release.amount_mg == ledger(EVENING, EVENING).releases[0].amount_mg
    assert found.ahead == ("x.yaml attempt a1",)


def test_what_lies_ahead_is_named_in_the_plan() -> None:
    now = EVENING - timedelta(days=3)
    case = case_with("beetles", "elytra", OILY)
    plan = planner().plan(case, full_bench(KNOWLEDGE), ledger(EVENING, now))
    assert any("x.yaml attempt a1" in n.text and "clock" in n.text for n in plan.notices)
    plan = planner().plan(case, full_bench(KNOWLEDGE), ledger(EVENING, EVENING))
    assert all(n.rule != "air-ahead" for n in plan.notices)


def test_the_same_release_is_the_same_number_at_every_look() -> None:
    """Else a plan would change with every second."""
    seen = {
        ledger(EVENING, EVENING + timedelta(hours=3, seconds=s, microseconds=7 * s)).releases
        for s in range(60)
    }
    assert len(seen) == 1


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"amount_ml": None}, "no amount of ethyl acetate is written down"),
        ({"agent": "ethyl-acetat"}, 'agent "ethyl-acetat" is not known'),
        ({"method": "ethyl-acetate-brsh"}, 'method "ethyl-acetate-brsh" is not known'),
        ({"agent": None, "amount_ml": None}, "no amount of ethyl acetate is written down"),
        ({"method": None, "agent": None}, "it is not written down what was used"),
        ({"method": "pepsin-joint", "agent": "pepsin", "amount_ml": None}, "no amount of "),
    ],
)
def test_what_does_not_say_what_it_released_is_unknown(fields: dict[str, Any], says: str) -> None:
    found = ledger(EVENING, EVENING + timedelta(hours=1), **fields)
    assert len(found.unknown) == 1
    assert found.unknown[0].startswith("x.yaml attempt a1: ")
    assert says in found.unknown[0]


def test_a_method_says_what_was_used_where_the_attempt_does_not() -> None:
    assert ledger(EVENING, EVENING, agent=None).releases == ledger(EVENING, EVENING).releases


@pytest.mark.parametrize("method", sorted(KNOWLEDGE.methods))
def test_no_amount_is_no_gap_where_nothing_evaporates(method: str) -> None:
    entry = KNOWLEDGE.methods[method]
    found = ledger(EVENING, EVENING, method=method, agent=entry.agent, amount_ml=None)
    assert bool(found.unknown) == gives_off(entry)


def test_old_or_undone_gaps_do_not_count() -> None:
    case = case_of(EVENING, agent="ethyl-acetat")
    assert day_ledger(KNOWLEDGE, [case], EVENING + timedelta(hours=25)).unknown == ()
    undone = changes.with_correction(case, "a1", EVENING, outcome="not-done", note="wrong key")
    assert day_ledger(KNOWLEDGE, [undone], EVENING).unknown == ()
    mended = changes.with_correction(case, "a1", EVENING, agent="ethyl-acetate", note="mended")
    assert day_ledger(KNOWLEDGE, [mended], EVENING).unknown == ()


@pytest.mark.parametrize("method", sorted(KNOWLEDGE.methods))
def test_only_what_evaporates_waits_for_what_is_not_known(method: str) -> None:
    entry = KNOWLEDGE.methods[method]
    bench = full_bench(KNOWLEDGE)
    judge, known = AirJudge(KNOWLEDGE, bench, LOST), AirJudge(KNOWLEDGE, bench, DayLedger())
    chosen = judge.choose(entry)
    assert bool(chosen.refused) == (gives_off(entry) or bool(known.choose(entry).refused))
    if gives_off(entry):
        assert "old.yaml cannot be read" in chosen.refused
    # What-if asks without working the reason out: the same answer, from a judge of its own.
    assert AirJudge(KNOWLEDGE, bench, LOST).choose(entry).is_open == (not chosen.refused)


def test_the_plan_names_the_file_and_leaves_out_what_evaporates() -> None:
    case, bench = case_with("beetles", "elytra", OILY), full_bench(KNOWLEDGE)
    before, after = planner().plan(case, bench), planner().plan(case, bench, LOST)
    left = {s.method for s in after.steps}
    assert {m for m in (s.method for s in before.steps) if gives_off(KNOWLEDGE.methods[m])}
    assert left
    assert not [m for m in left if gives_off(KNOWLEDGE.methods[m])]
    assert {s.method for s in before.steps if s.agent is None and "-before-" not in s.id} <= left
    assert any(n.kind == "air" and "old.yaml cannot be read" in n.text for n in after.notices)
    reasons = [e.because for e in after.excluded if e.rule == "air-limit"]
    assert reasons
    assert all("old.yaml" in reason for reason in reasons)


def test_looking_ahead_agrees_with_the_plan() -> None:
    case, bench = case_with("beetles", "elytra", OILY), full_bench(KNOWLEDGE)
    maker = SkeletonMaker(consultant())
    skeleton = maker.skeleton(case, bench, AirJudge(KNOWLEDGE, bench, LOST))
    ahead = Lookahead(consultant(), bench, AirJudge(KNOWLEDGE, bench, LOST)).of_case(case)
    assert ahead.ladder("f1").rungs == skeleton.ladder("f1").rungs


def test_the_bench_day_releases_nothing_either() -> None:
    air = DayAir(KNOWLEDGE, full_bench(KNOWLEDGE), LOST)
    put_down = PutDown(BRUSH.agent or "", 0.5, 0.1, BRUSH.id)
    admitted = air.admit(put_down, 600)
    assert admitted.amount_ml == 0.0
    assert "old.yaml" in admitted.refused
    air.record(put_down, 600, 0.1)
    assert air.ledger.unknown == LOST.unknown


def test_answers_about_the_air_name_what_is_not_known() -> None:
    bench = Bench()
    day = daycalc.answer(Means(KNOWLEDGE, bench, LOST))
    assert day.verdict == "unknown"
    assert "old.yaml" in day.sentence
    assert day.unknown == LOST.unknown
    air = aircalc.answer(Means(KNOWLEDGE, bench, LOST), AirQuestion("ethanol", 0.1))
    assert any("old.yaml" in note for note in air.notes)


def test_yesterdays_releases_are_shown_as_such() -> None:
    at = datetime(2026, 3, 4, 23, 10, tzinfo=UTC)
    day = daycalc.answer(Means(KNOWLEDGE, Bench(), ledger(at, at + timedelta(hours=2))))
    assert [r.time for r in day.releases] == ["23:10 yesterday"]
    answer = aircalc.answer(
        Means(KNOWLEDGE, Bench(), ledger(at, at + timedelta(hours=2))), AirQuestion("ethanol", 0.1)
    )
    assert answer.earlier_releases == 1


@pytest.mark.parametrize("passes", [1, 8])
def test_a_day_over_its_limit_by_itself_names_no_amount(passes: int) -> None:
    day = ledger(NINE, NINE + timedelta(hours=9), amount_ml=200.0)
    means = Means(KNOWLEDGE, Bench(room={"control": "window"}), day)
    air = aircalc.answer(means, AirQuestion(BRUSH.agent or "", 1.0, passes=passes))
    assert (air.verdict, air.largest_pass_ml, air.largest_day_ml) == ("over", 0.0, 0.0)
    assert "the day alone is too much" in air.sentence
    assert not any("less, or another agent" in note for note in air.notes)


def test_short_term_level_falls_while_the_room_is_aired() -> None:
    levels = []
    for hours in (0.0, 0.5, 1.0, 4.0):
        day = ledger(EVENING, EVENING + timedelta(hours=hours))
        plan = planner().plan(case_with("beetles", "elytra", OILY), full_bench(KNOWLEDGE), day)
        step = next(s for s in plan.steps if s.method == BRUSH.id)
        assert step.air is not None
        levels.append(step.air.mean_15_min_mg_per_m3)
    assert levels == sorted(levels, reverse=True)
    assert levels[0] > levels[-1]


def test_an_empty_day_says_nothing_of_the_time() -> None:
    case = case_with("beetles", "elytra", OILY)
    early, late = (day_ledger(KNOWLEDGE, [case], EVENING + timedelta(hours=h)) for h in (0, 7))
    assert early == late
    assert early.releases == ()


def test_time_is_rounded_down_never_up() -> None:
    for minutes in (0, 1, 4, 5, 9, 50):
        now_min = ledger(NINE, NINE + timedelta(minutes=minutes)).now_min
        assert now_min is not None
        assert 540 <= now_min <= 540 + minutes


def test_all_cases_of_the_day_are_added(tmp_path: Path) -> None:
    """Total by hand: 5 mL at the density of the agent's file, on each of three cases."""
    for number in range(3):
        case = case_of(NINE - timedelta(hours=number), minutes=None)
        create_case(tmp_path, case.model_copy(update={"id": f"case-{number}"}))
    day = open_workshop(cases=tmp_path, clock=lambda: NINE + timedelta(hours=1)).day()
    share = strength_fraction(BRUSH.strength) * BRUSH.amount.open_share
    each_mg = 5.0 * KNOWLEDGE.agents[BRUSH.agent].physical.density.value * share * 1000.0
    assert [r.minute_of_day for r in day.releases] == [420.0, 480.0, 540.0]
    assert sum(r.amount_mg for r in day.releases) == pytest.approx(3 * each_mg)
    # No time was written down: the dwell of the method counts, at least a minute.
    assert min(r.release_min for r in day.releases) >= KNOWLEDGE.judgement.least_release_min.value
    fresh, later = (AirJudge(KNOWLEDGE, Bench(), d).choose(BRUSH) for d in (DayLedger(), day))
    assert later.refused or later.line.mean_8_h_mg_per_m3 > fresh.line.mean_8_h_mg_per_m3


def test_a_corrected_amount_counts_once() -> None:
    case = case_of(NINE)
    mended = changes.with_correction(case, "a1", NINE, outcome="better", note="less", amount_ml=2.0)
    (whole,), (left,) = (day_ledger(KNOWLEDGE, [c], NINE).releases for c in (case, mended))
    assert left.amount_mg == pytest.approx(whole.amount_mg * 2.0 / 5.0)


def test_every_agent_in_the_liquid_counts() -> None:
    """A bath of an enzyme in thin acid: the acid goes into the air, though the enzyme does not."""
    method = KNOWLEDGE.methods["pepsin-joint"]
    day = ledger(NINE, NINE + timedelta(hours=1), method=method.id, agent=method.agent)
    further = {part.agent for part in method.with_ if KNOWLEDGE.agents[part.agent].limits}
    assert further
    assert {release.agent for release in day.releases} == further
    assert all(release.amount_mg > 0 for release in day.releases)
