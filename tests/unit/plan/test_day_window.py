"""The air of the last 24 hours: nothing is forgotten, and what cannot be read is never nothing."""

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
OILED = case_with("beetles", "elytra", OILY)


def case_of(at: datetime, **fields: Any) -> Case:
    told = {"method": BRUSH.id, "agent": BRUSH.agent, "amount_ml": 5.0, "minutes": 2.0, **fields}
    attempt = changes.new_attempt("a1", at, "f1-some-step", "better", finding="f1", **told)
    return changes.with_attempt(OILED, attempt)


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


def test_midnight_forgets_nothing_and_a_release_counts_until_a_day_after_its_end() -> None:
    before, after = (ledger(EVENING, EVENING + timedelta(minutes=m)) for m in (0, 2))
    assert [r.amount_mg for r in after.releases] == [r.amount_mg for r in before.releases]
    assert after.releases[0].minute_of_day == -1.0
    assert after.now_min == 0.0
    late = ledger(EVENING, EVENING + timedelta(hours=2))
    day = daycalc.answer(Means(KNOWLEDGE, Bench(), late))
    assert [r.time for r in day.releases] == ["23:59 yesterday"]
    answer = aircalc.answer(Means(KNOWLEDGE, Bench(), late), AirQuestion("ethanol", 0.1))
    assert answer.earlier_releases == 1
    late = EVENING + timedelta(hours=26)
    assert ledger(EVENING, late).releases == ()
    assert len(ledger(EVENING, late, minutes=240.0).releases) == 1


@given(st.floats(0, 24 * 60), st.integers(-12, 14))
def test_a_release_counts_for_a_whole_day_in_every_zone(minutes: float, zone: int) -> None:
    now = (EVENING + timedelta(minutes=minutes)).astimezone(timezone(timedelta(hours=zone)))
    found = ledger(EVENING, now)
    assert len(found.releases) == 1
    # It stands as far before the present moment as it was, to the second.
    moment = now.hour * 60 + now.minute + now.second / 60
    assert moment - found.releases[0].minute_of_day == pytest.approx(minutes, abs=1 / 30)
    assert earliest(now) <= EVENING


def mended(case: Case, now: datetime, **fields: Any) -> DayLedger:
    return day_ledger(
        KNOWLEDGE, [changes.with_correction(case, "a1", now, note="wrong key", **fields)], now
    )


def test_a_correction_takes_the_place_of_what_it_corrects_and_old_gaps_do_not_count() -> None:
    assert mended(case_of(NINE), NINE, outcome="not-done").releases == ()
    (whole,) = ledger(NINE, NINE).releases
    (left,) = mended(case_of(NINE), NINE, outcome="better", amount_ml=2.0).releases
    assert left.amount_mg == pytest.approx(whole.amount_mg * 2.0 / 5.0)
    gap = case_of(EVENING, agent="ethyl-acetat")
    assert mended(gap, EVENING, outcome="not-done").unknown == ()
    assert mended(gap, EVENING, agent="ethyl-acetate").unknown == ()
    assert day_ledger(KNOWLEDGE, [gap], EVENING + timedelta(hours=25)).unknown == ()


def test_the_time_of_a_day_moves_in_steps_down_and_an_empty_day_has_none() -> None:
    """Else a plan would change with every second."""
    moments = [timedelta(hours=3, seconds=s, microseconds=7 * s) for s in range(60)]
    assert len({ledger(EVENING, EVENING + moment).releases for moment in moments}) == 1
    for minutes in (0, 1, 4, 5, 9, 50):
        now_min = ledger(NINE, NINE + timedelta(minutes=minutes)).now_min
        assert now_min is not None
        assert 540 <= now_min <= 540 + minutes
    early, late = (day_ledger(KNOWLEDGE, [OILED], EVENING + timedelta(hours=h)) for h in (0, 7))
    assert early == late
    assert early.releases == ()


@given(st.floats(0.1, 365 * 24))
def test_a_clock_set_back_counts_as_released_now(hours: float) -> None:
    now = EVENING - timedelta(hours=hours)
    found = ledger(EVENING, now)
    (release,) = found.releases
    assert release.minute_of_day == found.now_min
    assert release.amount_mg == ledger(EVENING, EVENING).releases[0].amount_mg
    assert found.ahead == ("x.yaml attempt a1",)


def test_what_lies_ahead_is_named_in_the_plan() -> None:
    for now, ahead in ((EVENING - timedelta(days=3), True), (EVENING, False)):
        plan = planner().plan(OILED, full_bench(), ledger(EVENING, now))
        told = [n.text for n in plan.notices if n.rule == "air-ahead"]
        assert bool(told) is ahead
        assert all("x.yaml attempt a1" in text and "clock" in text for text in told)


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
    (unknown,) = ledger(EVENING, EVENING + timedelta(hours=1), **fields).unknown
    assert unknown.startswith("x.yaml attempt a1: ")
    assert says in unknown


@pytest.mark.parametrize("method", sorted(KNOWLEDGE.methods))
def test_no_amount_is_no_gap_where_nothing_evaporates(method: str) -> None:
    entry = KNOWLEDGE.methods[method]
    told = {"method": method, "agent": entry.agent, "amount_ml": None}
    assert bool(ledger(EVENING, EVENING, **told).unknown) == gives_off(entry)


@pytest.mark.parametrize("method", sorted(KNOWLEDGE.methods))
def test_only_what_evaporates_waits_for_what_is_not_known(method: str) -> None:
    entry = KNOWLEDGE.methods[method]
    bench = full_bench()
    judge, known = AirJudge(KNOWLEDGE, bench, LOST), AirJudge(KNOWLEDGE, bench, DayLedger())
    chosen = judge.choose(entry)
    assert bool(chosen.refused) == (gives_off(entry) or bool(known.choose(entry).refused))
    if gives_off(entry):
        assert "old.yaml cannot be read" in chosen.refused
    # What-if asks without working the reason out: the same answer, from a judge of its own.
    assert AirJudge(KNOWLEDGE, bench, LOST).choose(entry).is_open == (not chosen.refused)


def test_the_plan_names_the_file_and_leaves_out_what_evaporates() -> None:
    case, bench = OILED, full_bench()
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
    judge = AirJudge(KNOWLEDGE, full_bench(), LOST)
    skeleton = SkeletonMaker(consultant()).skeleton(OILED, full_bench(), judge)
    ahead = Lookahead(consultant(), full_bench(), AirJudge(KNOWLEDGE, full_bench(), LOST))
    assert ahead.of_case(OILED).ladder("f1").rungs == skeleton.ladder("f1").rungs


def test_bench_day_and_answers_about_the_air_name_what_is_not_known() -> None:
    air = DayAir(KNOWLEDGE, full_bench(), LOST)
    put_down = PutDown(BRUSH.agent or "", 0.5, 0.1, BRUSH.id)
    admitted = air.admit(put_down, 600)
    assert admitted.amount_ml == 0.0
    assert "old.yaml" in admitted.refused
    air.record(put_down, 600, 0.1)
    assert air.ledger.unknown == LOST.unknown
    means = Means(KNOWLEDGE, Bench(), LOST)
    day = daycalc.answer(means)
    assert (day.verdict, day.unknown) == ("unknown", LOST.unknown)
    assert "old.yaml" in day.sentence
    assert any(
        "old.yaml" in note for note in aircalc.answer(means, AirQuestion("ethanol", 0.1)).notes
    )


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
        steps = planner().plan(OILED, full_bench(), day).steps
        levels += [s.air.mean_15_min_mg_per_m3 for s in steps if s.method == BRUSH.id]
    assert len(levels) == 4
    assert levels == sorted(levels, reverse=True)
    assert levels[0] > levels[-1]


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


def test_every_agent_in_the_liquid_counts() -> None:
    """A bath of an enzyme in thin acid: the acid goes into the air, though the enzyme does not."""
    method = KNOWLEDGE.methods["pepsin-joint"]
    day = ledger(NINE, NINE + timedelta(hours=1), method=method.id, agent=method.agent)
    further = {part.agent for part in method.with_ if KNOWLEDGE.agents[part.agent].limits}
    assert further
    assert {release.agent for release in day.releases} == further
    assert all(release.amount_mg > 0 for release in day.releases)
    # And the method says what was used where the attempt does not.
    assert ledger(NINE, NINE, agent=None).releases == ledger(NINE, NINE).releases != ()
