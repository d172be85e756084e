"""No plan ends in silence: without a step it is finished, refused, held, or says why it rests.

So whoever has nothing left to answer, or cannot tell, is never left with "no step" alone.
"""

from __future__ import annotations

from collections.abc import Iterator

import pytest

from tests.casebook.entry import entered
from tests.casebook.model import casebook
from tests.support.case_gen import drawn
from tests.support.knowledge import consultant, planner
from triage.case.models import Case
from triage.case.profile import Bench
from triage.plan.model import Plan
from triage.plan.skeleton import CLEAN_STAGES, DONE

# Says only that something is left; which, and why it rests, has to stand beside it.
GENERAL = "gate-cleaned"
# What a person may yet tell, or do, of a finding in these states.
RESTING = ("unsettled", "waiting", "stopped")


def told(every: int) -> Iterator[tuple[Case, Bench]]:
    for account in casebook()[0][::every]:
        yield entered(account, planner()).with_the_rest(account.expect.ask_first)[:2]


def generated(every: int) -> Iterator[tuple[Case, Bench]]:
    yield from (drawn(consultant(), seed) for seed in range(0, 150, every))


def unsaid(plan: Plan) -> list[str]:
    """Return what rests without a word where a plan has no step."""
    said = [notice for notice in plan.notices if notice.rule != GENERAL]
    found = [] if said else ["nothing is said"]
    if plan.stage in CLEAN_STAGES:
        texts = " ".join(notice.text for notice in said)
        resting = [f for f in plan.findings if f.state in RESTING]
        found += [f"{f.id} {f.state}" for f in resting if f.zone_name not in texts]
    return found


@pytest.mark.parametrize("every", [3, pytest.param(1, marks=pytest.mark.slow)])
@pytest.mark.parametrize("cases", [told, generated], ids=["casebook", "drawn"])
def test_a_plan_without_a_step_says_why(cases, every) -> None:  # type: ignore[no-untyped-def]
    seen, wrong = 0, {}
    for case, bench in cases(every):
        plan = planner().plan(case, bench)
        if plan.steps or plan.refused or plan.held or plan.stage == DONE:
            continue
        seen += 1
        if silent := unsaid(plan):
            wrong[case.id] = silent
    assert wrong == {}
    assert seen
