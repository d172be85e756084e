"""Whole cases judge the rules: each account is planned by the program and held against its source."""

from collections.abc import Iterator
from functools import cache
from typing import Any

import pytest

from tests.casebook.calibration import GOALS, calibration, share
from tests.casebook.entry import Entered, entered, outcome_of
from tests.casebook.judge import Judging
from tests.casebook.model import Account, Act, Expect, casebook, not_yet, table
from tests.support.builders import OILY, case_with, full_bench
from tests.support.explaining import desk_on
from tests.support.knowledge import planner as shipped_planner
from triage.case.changes import new_finding, with_accepted, with_answers, with_finding, with_sign
from triage.case.models import CLEAN, Case
from triage.knowledge.book import Knowledge
from triage.looks import unseen_zones
from triage.plan.model import Plan
from triage.plan.planner import Planner
from triage.plan.questions import is_shown

ACCOUNTS, FAULTS = casebook()
# A case that begins to hold fails the suite, so that it is taken off the list.
LATER = pytest.mark.xfail(strict=True, raises=AssertionError, reason="the rules do not hold it yet")
PARAMS = [pytest.param(a, id=a.id, marks=[LATER] * (a.id in not_yet())) for a in ACCOUNTS]


@pytest.mark.parametrize("account", PARAMS)
def test_case(account: Account, planner: Planner) -> None:
    found = Judging(account, entered(account, planner)).verdict()
    assert not found.faults, found.words()


def test_every_case_file_can_be_read_and_there_are_enough() -> None:
    assert not FAULTS, "\n".join(FAULTS)
    ids = [account.id for account in ACCOUNTS]
    assert len(set(ids)) == len(ids) >= 150
    assert sum(a.strength in ("document", "two-documents") for a in ACCOUNTS) >= 80
    assert list(not_yet()) == sorted(set(not_yet()) & set(ids)), "sorted, and each a case"


@pytest.mark.parametrize("rest", [False, True], ids=["as told", "with the rest"])
def test_what_is_called_settled_or_likely_is_mostly_true(rest: bool, planner: Planner) -> None:
    told = [(a, entered(a, planner)) for a in ACCOUNTS if a.truth]
    asked = [(a, e.with_the_rest(a.expect.ask_first) if rest else e) for a, e in told]
    total = calibration(asked)[-1]
    for found in (total.by_rules, total.by_lines):
        assert all(share(found, called) >= goal for called, goal in GOALS.items()), total.cells()


@cache
def resting_cases(every: int) -> tuple[tuple[Entered, Plan], ...]:
    """Return each case with the rest answered where nothing is to be done and the way waits."""
    accounts = ACCOUNTS[::every]
    told = [entered(a, shipped_planner()).with_the_rest(a.expect.ask_first) for a in accounts]
    plans = [(each, shipped_planner().plan(each.case, each.bench)) for each in told]
    return tuple((e, p) for e, p in plans if p.waiting and not (p.steps or p.refused or p.held))


EVERY = pytest.mark.parametrize("every", [3, pytest.param(1, marks=pytest.mark.slow)])


@EVERY
def test_what_the_way_on_waits_for_is_asked_first(every: int, planner: Planner) -> None:
    seen = 0
    for told, plan in resting_cases(every):
        shown = [line for line in plan.waiting if is_shown(line, plan.findings)]
        asks = {planner.knowledge.rule(n.rule).ask for n in plan.notices if n.kind == "gate"}
        if not shown or asks & {q.question for q in plan.questions}:
            continue
        asked = desk_on(told.bench).questions(told.case)
        assert asked, f"{told.case.id}: no step and nothing to ask"
        first = (asked[0].line.finding, asked[0].line.question)
        waited = {(q.finding, q.question) for line in shown for q in line.questions}
        assert first in waited, f"{told.case.id}: {first} is asked, {waited} are waited for"
        seen += 1
    assert seen


@EVERY
def test_a_guard_that_bars_by_what_is_open_names_the_one_look_that_clears_it(
    every: int, planner: Planner
) -> None:
    seen = 0
    for told, plan in resting_cases(every):
        for line in plan.waiting:
            looks = {(q.finding, q.question) for q in line.questions if q.finding}
            for finding, question in looks:
                answers = [answer.id for answer in planner.knowledge.questions[question].answers]
                changed = [with_sign(told.case, str(finding), question, each) for each in answers]
                after = [planner.plan(case, told.bench).waiting for case in changed]
                waits = [{q.finding for w in each for q in w.questions} for each in after]
                assert any(finding not in each for each in waits), f"{told.case.id}: {looks}"
                seen += 1
    assert seen


def test_what_only_a_suspicion_bars_waits_for_the_answer_that_would_clear_it(
    planner: Planner,
) -> None:
    """Suspected poison keeps crystals from being aired only until its signs are looked for."""
    name = "mould-21-white-powder-old-mothball-box"
    told = entered(next(a for a in ACCOUNTS if a.id == name), planner)
    plan = planner.plan(told.case, told.bench)
    assert [line.state for line in plan.findings] == ["waiting"]
    assert [q.question for line in plan.waiting for q in line.questions] == ["old-poison-signs"]
    for answer, is_open in (("no", True), ("yes", False)):
        looked = with_answers(told.case, {"old-poison-signs": answer})
        states = [line.state for line in planner.plan(looked, told.bench).findings]
        assert (states == ["open"]) is is_open


def with_the_rest_clean(case: Case, knowledge: Knowledge) -> Case:
    for zone in unseen_zones(knowledge, case):
        name = case.next_finding_id()
        case = with_accepted(with_finding(case, new_finding(name, zone)), name, CLEAN)
    return case


@pytest.mark.parametrize(
    "account", [a for a in ACCOUNTS if a.given.findings][::9], ids=lambda account: account.id
)
def test_what_is_clean_elsewhere_takes_no_step_away(account: Account, planner: Planner) -> None:
    """Looking at the rest of the insect takes nothing away from what is dirty.

    Every zone is looked at before anything is done (the first rule of the trade), so what a plan
    offers must not hang on whether somebody wrote down that an eye, a wing or a leg is clean.
    """
    told = entered(account, planner).with_the_rest(account.expect.ask_first)
    seen = {finding.id for finding in told.case.findings}
    before, after = (
        {(s.finding, s.method) for s in planner.plan(case, told.bench).steps if s.finding in seen}
        for case in (told.case, with_the_rest_clean(told.case, planner.knowledge))
    )
    assert before <= after


def unknown_words(account: Account, knowledge: Knowledge) -> Iterator[str]:
    given, expect = account.given, account.expect
    yield from {given.taxon} - {*knowledge.taxa, "unknown"}
    yield from {finding.zone for finding in given.findings} - {*knowledge.zones}
    answers = {(q.id, a.id) for q in knowledge.questions.values() for a in q.answers}
    told = {*given.answers.items(), *(sign for f in given.findings for sign in f.signs.items())}
    yield from (f"{question}={answer}" for question, answer in told - answers)
    ids = {finding.id for finding in given.findings}
    yield from {*account.truth, *expect.readings} - ids
    yield from {str(record.finding) for record in account.records} - {*ids, "None"}
    read = {str(reading.deposit or reading.denied) for reading in expect.readings.values()}
    yield from read - {*knowledge.deposits}
    then = (act for group in expect.then for act in group)
    hoped = [*expect.next, *expect.may, *account.records, *then]
    named = [*hoped, *expect.never]
    yield from {act.act for act in named} - {*table().acts}
    yield from {act.act for act in hoped if act.act.startswith("any-")}
    yield from {agent for act in named for agent in act.agent} - {*knowledge.agents}
    yield from {each.outcome for each in account.records if outcome_of(each.outcome) is None}


def test_words_of_cases_are_known_or_listed_as_not_yet_sayable(knowledge: Knowledge) -> None:
    unknown = {(a.id, word) for a in ACCOUNTS for word in unknown_words(a, knowledge)}
    assert sorted(each for each in unknown if each[1] not in table().later) == []


def test_every_method_of_the_rules_is_an_act(knowledge: Knowledge) -> None:
    entries = table().acts.values()
    named = {method for entry in entries if not entry.acts for method in entry.methods}
    assert named == set(knowledge.methods)
    assert {act for entry in entries for act in entry.acts} <= set(table().acts)
    assert {deposit for entry in entries for deposit in entry.on} <= set(knowledge.deposits)
    assert {entry.about for entry in entries} <= {None, *knowledge.conditions}


def test_no_act_is_both_hoped_for_and_forbidden() -> None:
    both = []
    for account in ACCOUNTS:
        for wider in account.expect.never:
            names = {wider.act, *table().acts[wider.act].acts}
            for act in account.expect.next:
                # With agents only where all that are hoped for are forbidden.
                agents = not wider.agent or (act.agent and {*act.agent} <= {*wider.agent})
                both += [(account.id, act, wider)] if act.act in names and agents else []
    assert both == []


def test_the_judge_finds_what_is_wrong(knowledge: Knowledge, planner: Planner) -> None:
    told = Entered(case_with("beetles", "elytra", OILY), full_bench(knowledge), ())
    step = planner.plan(told.case, told.bench).steps[0].method
    mine = [Act(act=name) for name, entry in table().acts.items() if step in entry.methods]
    others = [Act(act="peroxide-local"), Act(act="critical-point")]

    def faults(**changed: Any) -> set[str]:
        expect = Expect.model_validate({"next": mine, "never": others, **changed})
        account = ACCOUNTS[0].model_copy(update={"expect": expect})
        return {fault.kind for fault in Judging(account, told).verdict().faults}

    assert faults() == set()
    assert faults(next=others) == faults(next=others, may=mine) == {"next"}
    for act in (*mine, "any-touch", "any-solvent"):
        assert faults(never=[act]) == {"never"}
    assert faults(say=[{"meaning": "x", "words": ["no such word is said"]}]) == {"say"}
    assert faults(readings={"f1": {"not": "oily-film"}}) == {"readings"}
    assert "ask_first" in faults(next=others, ask_first=["worth-it"])


def test_what_accounts_call_a_deposit_is_told_of_one_deposit_alone(knowledge: Knowledge) -> None:
    told = {truth for account in ACCOUNTS for truth in account.truth.values()}
    listed = [words for each in table().truths.values() for words in each]
    assert not {*table().truths} - {*knowledge.deposits}
    assert sorted(listed) == sorted(set(listed))
    assert not set(listed) & {*knowledge.deposits}
    assert not set(listed) - told
