"""Looking at the rest of the insect and finding it clean takes nothing away from what is dirty.

Every zone is looked at before anything is done (the first rule of the trade), so what a plan offers
must not hang on whether somebody wrote down that an eye, a wing or a leg is clean.
"""

from __future__ import annotations

import pytest

from tests.casebook.entry import entered
from tests.casebook.model import Account, casebook
from tests.support.knowledge import planner
from triage.case.changes import new_finding, with_accepted, with_finding
from triage.case.models import CLEAN, Case
from triage.looks import unseen_zones
from triage.plan.model import Plan

SAMPLE = [account for account in casebook()[0] if account.given.findings][::9]


def with_the_rest_clean(case: Case) -> Case:
    for zone in unseen_zones(planner().knowledge, case):
        name = case.next_finding_id()
        case = with_accepted(with_finding(case, new_finding(name, zone)), name, CLEAN)
    return case


def offered(plan: Plan, case: Case) -> set[tuple[str, str]]:
    seen = {finding.id for finding in case.findings}
    return {(step.finding, step.method) for step in plan.steps if step.finding in seen}


@pytest.mark.parametrize("account", SAMPLE, ids=lambda account: account.id)
def test_what_is_clean_elsewhere_takes_no_step_away(account: Account) -> None:
    told = entered(account, planner()).with_the_rest(account.expect.ask_first)
    before = planner().plan(told.case, told.bench)
    after = planner().plan(with_the_rest_clean(told.case), told.bench)
    assert offered(before, told.case) <= offered(after, told.case)
