"""Explanations tell the truth: they name exactly the rules that fired and the facts they need.

The firings are worked out a second time by an evaluator that shares no index with the engine
(``tests.support.explaining.fired``), and what is removed is judged by the plain meaning of a rule
(``triage.engine.plain``, held to CLIPS).
"""

import pytest

from tests.support.explaining import demo_cases, drawn_case, fired, plan_of, trail_of
from tests.support.knowledge import consultant, shipped
from triage.case.changes import with_sign
from triage.engine.plain import evaluate
from triage.knowledge.rules import Family
from triage.plan.ladder import applies

SAMPLE = range(12)
each_demo = pytest.mark.parametrize(
    ("case", "bench"), demo_cases(), ids=lambda v: getattr(v, "id", "")
)


def check_truth(case, bench) -> int:
    """Check every step and every exclusion of a plan; return how many there were."""
    trail = trail_of(case, bench)
    anew = fired(trail)
    firings = anew.firings()
    checked = 0
    nodes = []
    for item in trail.skeleton.items:
        node = trail.step(item)
        check_step_rules(trail, item, node, anew)
        nodes.append(node)
        checked += 1
    for ladder in trail.skeleton.ladders:
        expected = {
            (c.rule, method)
            for c in (*anew.of(Family.FORBID, "forbid"), *anew.of(Family.ORDER, "pass-over"))
            if applies(c, ladder.target)
            for method in c.get("method")
        }
        explained = {(b.rule, b.method) for b in ladder.barred if b.rule in trail.normal}
        assert explained == expected
        for bar in ladder.barred:
            node = trail.exclusion(ladder, bar)
            assert node.rule == bar.rule
            nodes.append(node)
            checked += 1
    nodes += trail.gates(trail.skeleton.stage)
    check_firings(trail, nodes, firings)
    return checked


def check_step_rules(trail, item, node, anew) -> None:
    """The rules directly behind a step are those that fired for it, no more and no fewer."""
    ladder = trail.skeleton.ladder(item.target)
    target = ladder.target
    problems = (None, ladder.problem) if target.finding and ladder.problem else None
    offers = {
        c.rule
        for c in anew.of(Family.OFFER, "offer")
        if (c.get("finding"), c.get("condition")) == (target.finding, target.condition)
        and item.method in c.get("method")
        and (problems is None or c.get("deposit") in problems)
    }
    # A test spot is cautioned about as the step whose liquid it tries.
    methods = trail.knowledge.methods
    meant = {item.method, item.before} if methods[item.method].tries_next else {item.method}
    cautions = {
        c.rule
        for c in anew.of(Family.CAUTION, "caution")
        if meant & set(c.get("method")) and applies(c, target)
    }
    closed = anew.of(Family.GATE, "close")
    gates = {c.rule for c in closed if c.get("stage") == trail.skeleton.stage}
    gates |= {c.rule for c in anew.of(Family.GATE, "refuse")}
    orders = {c.rule for c in anew.by_family[Family.ORDER]}
    named = {child.rule for child in node.children if child.rule}
    assert named - orders == offers | cautions | gates
    assert named & orders if item.inserted else offers


def check_firings(trail, nodes, firings) -> None:
    """Every rule named fired on the facts named, and without the last of them it does not."""
    facts = {fact.key: fact for fact in trail.conclusions.facts}
    named = {(n.rule, n.facts): n for top in nodes for n in top.walk() if n.role == "rule"}
    for firing, node in named.items():
        assert firing in firings
        assert node.source in shipped().sources
        assert node.text
        rule = trail.normal[node.rule]
        needed = [facts[key] for key in dict.fromkeys(node.facts)]
        assert evaluate((rule,), needed), "the facts named are enough"
        left = [fact for fact in needed if fact.key != node.facts[-1]]
        assert not evaluate((rule,), left), "without the last-named fact it must fall"
        # In the whole case, too, the conclusion on these facts is gone with the last of them.
        rest = tuple(fact for key, fact in facts.items() if key != node.facts[-1])
        after = consultant().run_unindexed(rule.family, rest)
        assert firing not in {(c.rule, c.facts) for c in after}


@each_demo
def test_explanations_of_the_demo_cases_are_true_and_leave_out_no_line(case, bench):
    """Each step and exclusion of the plan itself has a tree that names a source or the bench."""
    check_truth(case, bench)
    plan, trail = plan_of(case, bench), trail_of(case, bench)
    assert [s.id for s in plan.steps] == [item.step for item in trail.skeleton.items]
    assert all(trail.step(item).sources() for item in trail.skeleton.items)
    explained = {
        (ladder.target.finding, bar.method, bar.rule)
        for ladder in trail.skeleton.ladders
        for bar in ladder.barred
    }
    assert {(e.finding, e.method, e.rule) for e in plan.excluded} <= explained


@pytest.mark.parametrize("seeds", [SAMPLE, pytest.param(range(500), marks=pytest.mark.slow)])
def test_explanations_of_generated_cases_are_true(seeds):
    assert sum(check_truth(*drawn_case(seed)) for seed in seeds) > 10 * len(seeds)


def test_taking_back_the_answer_behind_a_sign_takes_back_its_evidence():
    """The answers named at the leaves are the ones the evidence rests on."""
    checked = 0
    for case, bench in map(drawn_case, SAMPLE):
        trail = trail_of(case, bench)
        readings = trail.conclusions.readings
        for reading, piece in ((r, piece) for r in readings for piece in r.evidence):
            signs = case.finding(reading.finding).signs
            patterns = [
                p for p in trail.normal[piece.rule].patterns if p.kind == "finding" and not p.absent
            ]
            asked = [name for p in patterns for name, _ in p.allowed if name in signs]
            if asked:
                without = with_sign(case, reading.finding, asked[-1], None)
                after = consultant().consult(without, bench, plain=True)
                assert piece not in after.of(Family.RECOGNISE)
                checked += 1
            if checked > 60:
                return
    assert checked
