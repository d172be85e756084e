"""What nothing open bars is looked at before asking ends."""

from __future__ import annotations

from tests.support.explaining import likelihood, look_on, maker
from tests.support.knowledge import consultant
from triage.case.changes import new_case, new_finding, with_answer, with_sign
from triage.case.profile import Bench
from triage.engine.casefacts import SPECIMEN
from triage.explain.likelihood import permitting_answers
from triage.explain.nextquestion import ranked_questions
from triage.explain.sweep import Sweep


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
        "size": "minute",
        "urticating-hairs": "no", "whole": "whole", "worth-it": "yes",
    }  # fmt: skip
    finding = new_finding("f1", "pin-contact", signs=signs)
    case = new_case("pin", answers=answers, findings=(finding,))
    told = frozenset({("f1", "texture"), ("f1", "sheen"), ("f1", "dry-brush")})
    sweep = Sweep(look_on(Bench()), case, told)
    needed = {
        (SPECIMEN, "pin"): "none",
        (SPECIMEN, "pollen-wanted"): "no",
        ("f1", "puff"): "part-moves",
    }
    assert sweep.outline(needed).head.step == "f1-puff-air"
    for place in needed:
        fewer = {p: v for p, v in needed.items() if p != place}
        assert sweep.outline(fewer).first is sweep.base.first is None
    # Asked in turn each of them is reached, the others still unknown or told in the meantime.
    left = dict(needed)
    while left:
        sweep = Sweep(look_on(Bench()), case, told)
        asked = {
            (q.line.finding or SPECIMEN, q.line.question)
            for q in ranked_questions(sweep, likelihood())
        }
        place = next((p for p in left if p in asked), None)
        assert place is not None, left
        whose, question = place
        answer = left.pop(place)
        if whose == SPECIMEN:
            case = with_answer(case, question, answer)
        else:
            case = with_sign(case, whose, question, answer)
    assert Sweep(look_on(Bench()), case, told).base.head.step == "f1-puff-air"
