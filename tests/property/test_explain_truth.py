"""Explanations tell the truth: they name exactly the rules that fired and the facts they need.

The firings are worked out a second time by an evaluator that shares no index with the engine
(``tests.support.explaining.fired``), and what is removed is judged by the plain meaning of a rule
(``triage.engine.plain``, held to CLIPS). Whoever cannot tell anything still gets a safe plan, is told
what to look for, and asking ends.
"""

import pytest

from tests.support import explaining
from tests.support.intake import OPEN
from tests.support.knowledge import consultant, shipped
from triage.case.changes import new_case, new_finding, with_answer, with_sign
from triage.case.profile import Bench
from triage.engine.casefacts import SPECIMEN
from triage.engine.plain import evaluate
from triage.engine.vocabulary import UNKNOWN
from triage.explain.likelihood import permitting_answers
from triage.explain.nextquestion import ranked_questions
from triage.explain.sweep import Sweep
from triage.knowledge.rules import Family
from triage.plan.ladder import applies

SAMPLE = range(12)
each_demo = pytest.mark.parametrize(
    ("case", "bench"), explaining.demo_cases(), ids=lambda v: getattr(v, "id", "")
)


def check_truth(case, bench) -> int:
    """Check every step and every exclusion of a plan; return how many there were."""
    trail = explaining.trail_of(case, bench)
    anew = explaining.fired(trail)
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
    plan, trail = explaining.plan_of(case, bench), explaining.trail_of(case, bench)
    assert [s.id for s in plan.steps] == [item.step for item in trail.skeleton.items]
    steps = [trail.step(item).walk() for item in trail.skeleton.items]
    assert all(any(node.source for node in step) for step in steps)
    explained = {
        (ladder.target.finding, bar.method, bar.rule)
        for ladder in trail.skeleton.ladders
        for bar in ladder.barred
    }
    assert {(e.finding, e.method, e.rule) for e in plan.excluded} <= explained


@pytest.mark.parametrize("seeds", [SAMPLE, pytest.param(range(500), marks=pytest.mark.slow)])
def test_explanations_of_generated_cases_are_true(seeds):
    assert sum(check_truth(*explaining.drawn_case(seed)) for seed in seeds) > 10 * len(seeds)


def test_taking_back_the_answer_behind_a_sign_takes_back_its_evidence():
    """The answers named at the leaves are the ones the evidence rests on."""
    checked = 0
    for case, bench in map(explaining.drawn_case, SAMPLE):
        trail = explaining.trail_of(case, bench)
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


ZONES = sorted(shipped().zones)


def unknown_case(zones, taxon=UNKNOWN, answers=OPEN):
    findings = tuple(new_finding(f"f{n + 1}", zone) for n, zone in enumerate(zones))
    return new_case("nothing-told", taxon=taxon, findings=findings, answers=answers)


def check_safe(case):
    plan = explaining.plan_of(case, Bench())
    methods = shipped().methods
    harsh = [s.id for s in plan.steps if s.finding is not None and not methods[s.method].harmless]
    assert harsh == []
    assert plan.questions, "it must say what to look for"
    assert all(q.ask and q.how for q in plan.questions)
    return plan


@pytest.mark.parametrize("zone", ZONES)
def test_nothing_told_gives_harmless_steps_only_also_behind_open_gates(zone):
    check_safe(unknown_case([zone], answers={}))
    plan = check_safe(unknown_case([zone]))
    # On legs it may be what a bee gathered, whatever the group: that alone is asked before.
    shut = {notice.rule for notice in plan.notices if notice.kind == "gate"}
    assert plan.stage == "clean" or shut == {"gate-load-unasked"}


@pytest.mark.parametrize("taxon", [*sorted(shipped().taxa), UNKNOWN])
def test_nothing_told_of_any_group_gives_harmless_steps_only(taxon):
    plan = shipped().taxa[taxon].plan if taxon != UNKNOWN else None
    zones = [z.id for z in shipped().zones.values() if plan is None or plan in z.plans]
    check_safe(unknown_case(zones[:4], taxon))


def place_of(question):
    return question.line.finding or SPECIMEN, question.line.question


def test_cannot_tell_to_everything_ends_the_asking():
    case = unknown_case(["thorax-hairy"])
    declined: set[tuple[str, str]] = set()
    for _ in range(60):
        found = ranked_questions(
            Sweep(explaining.look_on(Bench()), case, frozenset(declined)), explaining.likelihood()
        )
        if not found:
            break
        assert place_of(found[0]) not in declined, "what was declined is not asked again"
        declined.add(place_of(found[0]))
    else:
        pytest.fail("it never stops asking")
    check_safe(case)


def test_permitting_answers_open_every_gate_that_an_answer_opens():
    permits = permitting_answers(consultant())
    finding = new_finding("f1", "elytra", signs={"texture": "grains", "puff": "moves"})
    case = new_case("open", taxon="beetles", answers=permits, findings=(finding,))
    skeleton = explaining.maker().skeleton(case, Bench(), explaining.look_on(Bench()).judge)
    assert skeleton.refused == ()
    assert skeleton.stage == "clean"
    # ``none``, ``no`` and the like are named by no interlock: no other answer meets fewer.
    permits = permitting_answers(consultant())
    expected = {"cracks": "none", "pin": "none", "pollen-wanted": "no", "mouldy-smell": "no"}
    assert {question: permits[question] for question in expected} == expected


def test_a_method_behind_several_answers_is_asked_for():
    """Three answers together open a puff of air; none of them does so alone, nor do two."""
    signs = {
        "blotter": "water-spot", "box-too": "no", "colour": "green-blue", "damp-before": "no",
        "dust-returns": "no", "scale-match": "host-rows", "symmetry": "one-side",
        "where-on-body": "underside-too",
    }  # fmt: skip
    answers = {
        "hydration": "dry", "lacquered": "no", "live-pest-signs": "no", "mouldy-smell": "no",
        "age": "since-1990", "old-poison-signs": "no", "photographed-before": "yes",
        "size": "minute", "urticating-hairs": "no", "whole": "whole", "worth-it": "yes",
    }  # fmt: skip
    finding = new_finding("f1", "pin-contact", signs=signs)
    case = new_case("pin", answers=answers, findings=(finding,))
    told = frozenset(("f1", sign) for sign in ("texture", "sheen", "dry-brush"))
    sweep = Sweep(explaining.look_on(Bench()), case, told)
    needed = {(SPECIMEN, "pin"): "none", (SPECIMEN, "pollen-wanted"): "no"}
    needed |= {("f1", "puff"): "part-moves"}
    assert sweep.outline(needed).head.step == "f1-puff-air"
    for place in needed:
        fewer = {p: v for p, v in needed.items() if p != place}
        assert sweep.outline(fewer).first is sweep.base.first is None
    # Asked in turn each of them is reached, the others still unknown or told in the meantime.
    left = dict(needed)
    while left:
        sweep = Sweep(explaining.look_on(Bench()), case, told)
        asked = {
            place_of(question) for question in ranked_questions(sweep, explaining.likelihood())
        }
        place = next((p for p in left if p in asked), None)
        assert place is not None, left
        whose, question = place
        answer = left.pop(place)
        if whose == SPECIMEN:
            case = with_answer(case, question, answer)
        else:
            case = with_sign(case, whose, question, answer)
    assert Sweep(explaining.look_on(Bench()), case, told).base.head.step == "f1-puff-air"
