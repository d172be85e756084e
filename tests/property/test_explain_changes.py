"""Counterfactuals: applied, each really changes the next step; nothing smaller does; none is missed."""

from __future__ import annotations

from itertools import islice

import pytest

from tests.support.explaining import (
    demo_cases,
    drawn_case,
    look_on,
    maker,
    sweep_of,
)
from tests.support.knowledge import consultant
from triage.case.changes import with_answer, with_sign, with_taxon
from triage.engine.casefacts import TAXON
from triage.engine.vocabulary import UNKNOWN
from triage.explain.counterfactual import Searching, attempt_variants, bench_variants

SAMPLE = range(3)
FULL = range(500)


def head_of(case, bench, look):
    """Return the head by forward chaining in experta: step, stage one waits in, refused, held."""
    skeleton = maker().skeleton(case, bench, look.judge)
    step = skeleton.items[0].step if skeleton.items else None
    waits = "" if step else skeleton.stage
    return step, waits, bool(skeleton.refused), bool(skeleton.held)


def with_change(case, change):
    """Return the case with one changed answer, made by the acts of the program; not recorded."""
    value = None if change.after == UNKNOWN else change.after
    if change.what == TAXON:
        return with_taxon(case, change.after)
    if change.finding is None:
        return with_answer(case, change.what, value)
    return with_sign(case, change.finding, change.what, value)


def offered_in(case, bench, look):
    skeleton = maker().skeleton(case, bench, look.judge, plain=True)
    return {method for ladder in skeleton.ladders for method in ladder.offered}


def applied(found, case, bench, look, base):
    """Return the case and bench with every change of a counterfactual made for real."""
    offered = offered_in(case, bench, look)
    benches = dict(bench_variants(look, base, offered))
    cases = dict(attempt_variants(look, case, base))
    for change in found.changes:
        if change.kind == "answer":
            case = with_change(case, change)
        elif change.kind == "bench":
            bench = benches[change]
        else:
            case = cases[change]
    return case, bench


def check_changes(case, bench, most=None) -> int:
    look = look_on(bench)
    sweep = sweep_of(case, bench)
    before = head_of(case, bench, look)
    assert before == sweep.base.head
    searching = Searching(sweep, offered_in(case, bench, look))
    found = searching.singles()
    for counterfactual in islice(found, most):
        other_case, other_bench = applied(counterfactual, case, bench, look, sweep.base)
        other = look if other_bench == bench else look.on_bench(other_bench)
        after = head_of(other_case, other_bench, other)
        assert after != before, counterfactual.sentence
        assert after[0] == counterfactual.after
        # A single change is the smallest there is: without it the case is as it was.
        assert len(counterfactual.changes) == 1
    return len(found)


@pytest.mark.parametrize(("case", "bench"), demo_cases(), ids=lambda v: getattr(v, "id", ""))
def test_changes_of_the_demo_cases_change_the_next_step(case, bench):
    check_changes(case, bench, 15)


@pytest.mark.parametrize(
    ("seeds", "most"), [(SAMPLE, 25), pytest.param(FULL, None, marks=pytest.mark.slow)]
)
def test_changes_of_generated_cases_change_the_next_step(seeds, most):
    assert sum(check_changes(*drawn_case(seed), most) for seed in seeds) > 2 * len(seeds)


def answers_that_change(case, bench, look):
    """Find by forward chaining, one case at a time, every answer that changes the next step."""
    knowledge = consultant().knowledge
    before = head_of(case, bench, look)
    found = set()
    for fact in look.facts(case):
        about = {"specimen": "specimen", "finding": "zone"}.get(fact.kind)
        fields = [
            (q.id, [a.id for a in q.answers])
            for q in knowledge.questions.values()
            if q.about == about
        ]
        if fact.kind == "specimen":
            fields.append(("taxon", list(knowledge.taxa)))
        for question, answers in fields:
            for answer in [*answers, "unknown"]:
                if answer == fact.fields[question]:
                    continue
                from triage.explain.counterfactual import Change

                finding = None if fact.kind == "specimen" else fact.key
                change = Change("answer", finding, question, fact.fields[question], answer)
                if head_of(with_change(case, change), bench, look) != before:
                    found.add(change)
    return found


@pytest.mark.parametrize("seed", [1, pytest.param(4, marks=pytest.mark.slow)])
def test_no_single_answer_is_missed(seed):
    case, bench = drawn_case(seed)
    look = look_on(bench)
    mine = {
        c.changes[0]
        for c in Searching(sweep_of(case, bench), ()).singles()
        if c.changes[0].kind == "answer"
    }
    assert mine == answers_that_change(case, bench, look)


def test_pairs_change_the_next_step_only_together():
    checked = 0
    for seed in range(30):
        case, bench = drawn_case(seed)
        look, sweep = look_on(bench), sweep_of(case, bench)
        if len(case.findings) != 1 or sweep.base.refused:
            continue
        searching = Searching(sweep, ())
        # Few answers are enough to try pairs on: the first ones that change nothing alone.
        idle = ((answer, None) for answer, outlook in searching.answers.items() if outlook is None)
        searching.__dict__["answers"] = dict(islice(idle, 60))
        for pair in islice(searching.pairs(), 5):
            before = head_of(case, bench, look)
            one, other = pair.changes
            assert head_of(with_change(case, one), bench, look) == before
            assert head_of(with_change(case, other), bench, look) == before
            both = with_change(with_change(case, one), other)
            assert head_of(both, bench, look) != before
            checked += 1
        if checked >= 5:
            return
    assert checked


def test_a_pair_is_offered_only_where_no_single_change_works():
    case, bench = drawn_case(3)
    searching = Searching(sweep_of(case, bench), ())
    assert searching.singles()
    assert all(len(c.changes) == 1 for c in searching.smallest())
