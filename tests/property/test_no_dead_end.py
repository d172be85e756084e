"""No plan ends in silence: without a step it is finished, refused, held, or says why it rests.

So whoever has nothing left to answer, or cannot tell, is never left with "no step" alone.
"""

from collections.abc import Callable, Iterator
from functools import partial

import pytest

from tests.casebook.asking import single, walk
from tests.casebook.entry import entered
from tests.casebook.model import casebook
from tests.support.case_gen import drawn
from tests.support.knowledge import consultant, planner
from triage.plan.model import Plan
from triage.plan.skeleton import CLEAN_STAGES, DONE

# Says only that something is left; which, and why it rests, has to stand beside it.
GENERAL = "gate-cleaned"
# What a person may yet tell, or do, of a finding in these states.
RESTING = ("unsettled", "waiting", "stopped")


def told(every: int) -> Iterator[tuple[str, Plan]]:
    for account in casebook()[0][::every]:
        as_told = entered(account, planner())
        for each in (as_told, as_told.with_the_rest(account.expect.ask_first)):
            yield account.id, planner().plan(each.case, each.bench)


def generated(every: int) -> Iterator[tuple[str, Plan]]:
    for case, bench in (drawn(consultant(), seed) for seed in range(0, 150, every)):
        yield case.id, planner().plan(case, bench)


def asked(every: int) -> Iterator[tuple[str, Plan]]:
    """Yield the plan after each answer, until nothing is left to ask."""
    for account in single()[::every]:
        for each in walk(account):
            yield account.id, each.plan
            if each.leads:
                break


def unsaid(plan: Plan) -> list[str]:
    """Return what rests without a word where a plan has no step."""
    said = [notice for notice in plan.notices if notice.rule != GENERAL]
    found = [] if said else ["nothing is said"]
    if plan.stage in CLEAN_STAGES:
        texts = " ".join(notice.text for notice in said)
        resting = [f for f in plan.findings if f.state in RESTING]
        found += [f"{f.id} {f.state}" for f in resting if f.zone_name not in texts]
    return found


slow = partial(pytest.param, marks=pytest.mark.slow)
SOURCES = (
    pytest.param(partial(told, 10), id="told"),
    pytest.param(partial(generated, 5), id="generated"),
    pytest.param(partial(asked, 240), id="asked"),
    *(slow(partial(each, 1), id=f"{each.__name__}, all") for each in (told, generated, asked)),
)


@pytest.mark.parametrize("plans", SOURCES)
def test_a_plan_without_a_step_says_why(plans: Callable[[], Iterator[tuple[str, Plan]]]) -> None:
    seen, wrong = 0, {}
    for case, plan in plans():
        if plan.steps or plan.refused or plan.held or plan.stage == DONE:
            continue
        seen += 1
        if silent := unsaid(plan):
            wrong[case] = silent
    assert wrong == {}
    assert seen
