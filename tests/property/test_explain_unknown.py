"""Whoever cannot tell anything still gets a safe plan, is told what to look for, and asking ends."""

import pytest

from tests.support.explaining import likelihood, look_on, maker, plan_of
from tests.support.intake import OPEN
from tests.support.knowledge import consultant, shipped
from triage.case.changes import new_case, new_finding, with_answer, with_sign
from triage.case.profile import Bench
from triage.engine.casefacts import SPECIMEN
from triage.engine.vocabulary import UNKNOWN
from triage.explain.likelihood import permitting_answers
from triage.explain.nextquestion import ranked_questions
from triage.explain.sweep import Sweep

ZONES = sorted(shipped().zones)


def unknown_case(zones, taxon=UNKNOWN, answers=OPEN):
    findings = tuple(new_finding(f"f{n + 1}", zone) for n, zone in enumerate(zones))
    return new_case("nothing-told", taxon=taxon, findings=findings, answers=answers)


def check_safe(case):
    plan = plan_of(case, Bench())
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
        found = ranked_questions(Sweep(look_on(Bench()), case, frozenset(declined)), likelihood())
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
    skeleton = maker().skeleton(case, Bench(), look_on(Bench()).judge)
    assert skeleton.refused == ()
    assert skeleton.stage == "clean"


def test_no_other_answer_to_one_question_opens_a_milder_rung_where_interlocks_agree():
    """``none``, ``no`` and the like are named by no interlock: no other answer meets fewer."""
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
    sweep = Sweep(look_on(Bench()), case, told)
    needed = {(SPECIMEN, "pin"): "none", (SPECIMEN, "pollen-wanted"): "no"}
    needed |= {("f1", "puff"): "part-moves"}
    assert sweep.outline(needed).head.step == "f1-puff-air"
    for place in needed:
        fewer = {p: v for p, v in needed.items() if p != place}
        assert sweep.outline(fewer).first is sweep.base.first is None
    # Asked in turn each of them is reached, the others still unknown or told in the meantime.
    left = dict(needed)
    while left:
        sweep = Sweep(look_on(Bench()), case, told)
        asked = {place_of(question) for question in ranked_questions(sweep, likelihood())}
        place = next((p for p in left if p in asked), None)
        assert place is not None, left
        whose, question = place
        answer = left.pop(place)
        if whose == SPECIMEN:
            case = with_answer(case, question, answer)
        else:
            case = with_sign(case, whose, question, answer)
    assert Sweep(look_on(Bench()), case, told).base.head.step == "f1-puff-air"
