"""A changed case is outlined as forward chaining plans it; changes really change, and none is missed."""

import random
from itertools import islice

import pytest

from tests.support import explaining
from tests.support.knowledge import consultant
from triage.case.changes import with_answer, with_sign, with_taxon
from triage.engine.casefacts import TAXON
from triage.engine.many import with_values
from triage.engine.vocabulary import UNKNOWN
from triage.explain.counterfactual import (
    Change,
    Searching,
    attempt_variants,
    bench_variants,
)

FULL = range(500)
CHANGES = 4


def difference(case, bench, look, outline, by=None) -> str:
    """Return how an outline differs from the skeleton of experta, empty if it does not."""
    skeleton = (by or explaining.maker()).skeleton(case, bench, look.judge)
    expected, found = (
        (made.stage, made.refused, made.held, made.gates, [item.step for item in made.items])
        for made in (skeleton, outline)
    )
    if found != expected or outline.first != next(iter(skeleton.items), None):
        return f"{found} instead of {expected}"
    rungs, others = (
        {ladder.target.key: (ladder.rungs, ladder.problem) for ladder in made.ladders}
        for made in (skeleton, outline)
    )
    return "" if rungs == others else f"{others} instead of {rungs}"


def changed(case, rng):
    """Return a place, an answer and the case with that answer recorded."""
    knowledge = consultant().knowledge
    question = rng.choice([*knowledge.questions.values()])
    if question.about == "zone" and not case.findings:
        return None
    answer = rng.choice([*[a.id for a in question.answers], UNKNOWN])
    whose, what = None, question.id
    if question.about != "specimen":
        whose = rng.choice(case.findings).id
    elif rng.random() < 0.2:
        what, answer = TAXON, rng.choice([*knowledge.taxa, UNKNOWN])
    change = Change("answer", whose, what, "", answer)
    return (whose or "specimen", what), answer, with_change(case, change)


def differences(seeds, per_case=CHANGES):
    for seed in seeds:
        case, bench = explaining.drawn_case(seed)
        look = explaining.look_on(bench)
        facts, work = look.facts(case), look.work(case)
        if found := difference(case, bench, look, look.outline(facts, work)):
            yield f"seed {seed}: {found}"
        rng = random.Random(seed)
        for _ in range(per_case):
            drawn = changed(case, rng)
            if drawn is None:
                continue
            place, answer, other = drawn
            outline = look.outline(with_values(facts, {place: answer}), work)
            if found := difference(other, bench, look, outline):
                yield f"seed {seed}, {place} {answer}: {found}"


@pytest.mark.parametrize("seeds", [range(40), pytest.param(FULL, marks=pytest.mark.slow)])
def test_outlines_are_those_of_forward_chaining(seeds):
    assert list(differences(seeds)) == []


@pytest.mark.parametrize(
    ("case", "bench"), explaining.demo_cases(), ids=lambda v: getattr(v, "id", "")
)
def test_outlines_of_the_demo_cases_are_those_of_forward_chaining(case, bench):
    look = explaining.look_on(bench)
    assert difference(case, bench, look, look.of_case(case)) == ""


def head_of(case, bench, look):
    """Return the head by forward chaining in experta: step, stage one waits in, refused, held."""
    skeleton = explaining.maker().skeleton(case, bench, look.judge)
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
    skeleton = explaining.maker().skeleton(case, bench, look.judge, plain=True)
    return {method for ladder in skeleton.ladders for method in ladder.offered}


def applied(found, case, bench, look, base):
    """Return the case and bench with every change of a counterfactual made for real."""
    benches = dict(bench_variants(look, base, offered_in(case, bench, look)))
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
    look = explaining.look_on(bench)
    sweep = explaining.sweep_of(case, bench)
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


@pytest.mark.parametrize(
    ("case", "bench"), explaining.demo_cases(), ids=lambda v: getattr(v, "id", "")
)
def test_changes_of_the_demo_cases_change_the_next_step(case, bench):
    check_changes(case, bench, 15)


@pytest.mark.parametrize(
    ("seeds", "most"), [(range(3), 25), pytest.param(FULL, None, marks=pytest.mark.slow)]
)
def test_changes_of_generated_cases_change_the_next_step(seeds, most):
    assert sum(check_changes(*explaining.drawn_case(seed), most) for seed in seeds) > 2 * len(seeds)


def answers_that_change(case, bench, look):
    """Find by forward chaining, one case at a time, every answer that changes the next step."""
    knowledge = consultant().knowledge
    before = head_of(case, bench, look)
    found = set()
    for fact in look.facts(case):
        about = {"specimen": "specimen", "finding": "zone"}.get(fact.kind)
        asked = [q for q in knowledge.questions.values() if q.about == about]
        fields = {q.id: [a.id for a in q.answers] for q in asked}
        if fact.kind == "specimen":
            fields[TAXON] = list(knowledge.taxa)
        finding = None if fact.kind == "specimen" else fact.key
        for question, answers in fields.items():
            for answer in {*answers, UNKNOWN} - {fact.fields[question]}:
                change = Change("answer", finding, question, fact.fields[question], answer)
                if head_of(with_change(case, change), bench, look) != before:
                    found.add(change)
    return found


@pytest.mark.parametrize("seed", [1, pytest.param(4, marks=pytest.mark.slow)])
def test_no_single_answer_is_missed(seed):
    case, bench = explaining.drawn_case(seed)
    changes = [c.changes[0] for c in Searching(explaining.sweep_of(case, bench), ()).singles()]
    found = {change for change in changes if change.kind == "answer"}
    assert found == answers_that_change(case, bench, explaining.look_on(bench))


def test_pairs_change_the_next_step_only_together():
    checked = 0
    for case, bench in map(explaining.drawn_case, range(30)):
        look, sweep = explaining.look_on(bench), explaining.sweep_of(case, bench)
        if len(case.findings) != 1 or sweep.base.refused:
            continue
        searching = Searching(sweep, ())
        # Few answers are enough to try pairs on: the first ones that change nothing alone.
        idle = ((answer, None) for answer, outlook in searching.answers.items() if outlook is None)
        searching.__dict__["answers"] = dict(islice(idle, 60))
        for one, other in (pair.changes for pair in islice(searching.pairs(), 5)):
            alone = with_change(case, one), with_change(case, other)
            heads = [head_of(each, bench, look) for each in (case, *alone)]
            assert heads == heads[:1] * 3
            assert head_of(with_change(alone[0], other), bench, look) != heads[0]
            checked += 1
        if checked >= 5:
            return
    assert checked


def test_a_pair_is_offered_only_where_no_single_change_works():
    case, bench = explaining.drawn_case(3)
    searching = Searching(explaining.sweep_of(case, bench), ())
    assert searching.singles()
    assert all(len(c.changes) == 1 for c in searching.smallest())
