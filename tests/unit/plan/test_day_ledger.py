"""The day's ledger lets the air of an earlier attempt clear, and never counts it away too soon."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from tests.support.builders import OILY, case_with, full_bench
from triage.case import changes
from triage.case.models import Case
from triage.knowledge.book import Knowledge
from triage.plan.day import day_ledger
from triage.plan.planner import Planner

NINE = datetime(2026, 3, 4, 9, 0, tzinfo=UTC)


def dipped(at: datetime, minutes: float | None = 2.0) -> Case:
    case = case_with("beetles", "elytra", OILY)
    attempt = changes.new_attempt(
        "a1",
        at,
        "f1-ethyl-acetate-brush",
        "better",
        finding="f1",
        zone="elytra",
        deposit="oily-film",
        method="ethyl-acetate-brush",
        agent="ethyl-acetate",
        amount_ml=5.0,
        minutes=minutes,
    )
    return changes.with_attempt(case, attempt)


def level_after(planner: Planner, knowledge: Knowledge, hours: float) -> float:
    now = NINE + timedelta(hours=hours)
    day = day_ledger(knowledge, [dipped(NINE)], now)
    plan = planner.plan(case_with("beetles", "elytra", OILY), full_bench(knowledge), day)
    step = next(s for s in plan.steps if s.method == "ethyl-acetate-brush")
    assert step.air is not None
    return step.air.mean_15_min_mg_per_m3


def test_short_term_level_falls_while_the_room_is_aired(
    planner: Planner, knowledge: Knowledge
) -> None:
    levels = [level_after(planner, knowledge, hours) for hours in (0.0, 0.5, 1.0, 4.0)]
    assert levels == sorted(levels, reverse=True)
    assert levels[0] > levels[-1]


def test_an_empty_day_says_nothing_of_the_time(knowledge: Knowledge) -> None:
    case = case_with("beetles", "elytra", OILY)
    early, late = (day_ledger(knowledge, [case], NINE + timedelta(hours=h)) for h in (0, 7))
    assert early == late
    assert early.releases == ()


def test_attempts_that_are_over_or_undone_do_not_count(knowledge: Knowledge) -> None:
    assert day_ledger(knowledge, [dipped(NINE - timedelta(hours=25))], NINE).releases == ()
    undone = changes.with_correction(dipped(NINE), "a1", NINE, outcome="not-done", note="wrong key")
    assert day_ledger(knowledge, [undone], NINE).releases == ()


def test_time_is_rounded_down_never_up(knowledge: Knowledge) -> None:
    for minutes in (0, 1, 4, 5, 9, 61):
        now = NINE + timedelta(minutes=minutes)
        ledger = day_ledger(knowledge, [dipped(NINE)], now)
        assert ledger.now_min is not None
        assert 540 <= ledger.now_min <= 540 + minutes


def test_all_cases_of_the_day_are_added(knowledge: Knowledge) -> None:
    ledger = day_ledger(
        knowledge,
        [dipped(NINE), dipped(NINE + timedelta(hours=1), None)],
        NINE + timedelta(hours=2),
    )
    assert len(ledger.releases) == 2
    # No time was written down: the dwell of the method counts, at least a minute.
    assert ledger.releases[1].release_min >= knowledge.judgement.least_release_min.value


def test_every_agent_in_the_liquid_counts(knowledge: Knowledge) -> None:
    """A bath of an enzyme in thin acid: the acid goes into the air, though the enzyme does not."""
    case = case_with("beetles", "elytra", OILY)
    method = knowledge.methods["pepsin-joint"]
    attempt = changes.new_attempt(
        "a1",
        NINE,
        "case-stuck-pepsin-joint",
        "better",
        method=method.id,
        agent=method.agent,
        amount_ml=2.0,
        minutes=30.0,
    )
    day = day_ledger(knowledge, [changes.with_attempt(case, attempt)], NINE + timedelta(hours=1))
    further = {part.agent for part in method.with_ if knowledge.agents[part.agent].limits}
    assert further
    assert {release.agent for release in day.releases} == further
    assert all(release.amount_mg > 0 for release in day.releases)
