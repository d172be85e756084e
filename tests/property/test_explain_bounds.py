"""What the bounds leave out changes nothing, and what nothing open bars is looked at before ending.

The bounds are held against the look-ahead with every open answer, which is itself held against
forward chaining (``test_explain_lookahead``).
"""

from __future__ import annotations

import random

import pytest

from tests.support.explaining import demo_cases, drawn_case, likelihood, look_on, maker, sweep_of
from tests.support.knowledge import consultant
from triage.case.changes import new_case, new_finding
from triage.case.profile import Bench
from triage.engine.casefacts import SPECIMEN
from triage.explain.bounds import Bounds, FarRules
from triage.explain.nextquestion import ranked_questions
from triage.explain.permitting import permitting_answers
from triage.explain.sweep import Sweep

SAMPLE = range(30)
FULL = range(500)
TOGETHER = 12


def wrongly_left_out(sweep) -> tuple[int, list]:
    """Return how many answers the bounds leave out, and those that do change the next step."""
    bounds = Bounds(sweep, likelihood().far)
    left = [
        (answer, outlook)
        for answer, outlook in sweep.open
        if answer.finding is not None
        and not bounds.matters(answer.finding, answer.question, answer.after)
    ]
    return len(left), [a for a, outlook in left if outlook.head != sweep.base.head]


def check(seeds) -> int:
    """Check generated cases; return how many answers were left out in all."""
    total = 0
    for seed in seeds:
        case, bench = drawn_case(seed)
        count, wrong = wrongly_left_out(sweep_of(case, bench))
        assert not wrong, seed
        total += count
    return total


def test_no_answer_left_out_changes_the_next_step():
    assert check(SAMPLE) > 500


@pytest.mark.slow
def test_no_answer_left_out_changes_the_next_step_of_500_cases():
    assert check(FULL) > 10_000


@pytest.mark.parametrize(("case", "bench"), demo_cases(), ids=lambda v: getattr(v, "id", ""))
def test_no_answer_left_out_changes_the_next_step_of_the_demo_cases(case, bench):
    assert wrongly_left_out(sweep_of(case, bench))[1] == []


def test_a_finding_that_comes_after_stays_after_whatever_is_answered():
    """Several answers at once: the bound for whole findings holds for any of them together."""
    checked = 0
    for seed in range(480):
        case, bench = drawn_case(seed)
        sweep = sweep_of(case, bench)
        bounds = Bounds(sweep, likelihood().far)
        rng = random.Random(seed)
        for finding in case.findings:
            scope = bounds.scope(finding.id, alone=False)
            if scope.everything or scope.deposits or not sweep.is_open(finding.id):
                continue
            places: dict = {}
            for answer, _ in sweep.open:
                if (
                    answer.finding == finding.id
                    and (
                        answer.question,
                        answer.after,
                    )
                    not in likelihood().far.whole
                ):
                    places.setdefault(answer.place, []).append(answer.after)
            for _ in range(TOGETHER):
                values = {place: rng.choice(after) for place, after in places.items()}
                assert sweep.outlook(values).head == sweep.base.head, (seed, values)
                checked += 1
    assert checked > 20


def test_rules_that_reach_beyond_a_finding_are_known():
    """Each interlock for the whole case that a finding's reading calls up is among the far ones."""
    barred = [each.methods for each in FarRules(consultant()).far if each.methods]
    # Mould suspected in one place bars the plain damp chamber for the whole specimen.
    assert any("chamber-water-plain" in methods for methods in barred)


# -- the most permitting answers -----------------------------------------------------------------


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
    assert sweep.outlook(needed).step == "f1-puff-air"
    for place in needed:
        fewer = {p: v for p, v in needed.items() if p != place}
        assert sweep.outlook(fewer).step is sweep.base.step is None
    asked = {
        (q.line.finding or SPECIMEN, q.line.question) for q in ranked_questions(sweep, likelihood())
    }
    # The last of them is asked once the others are known.
    assert len(set(needed) & asked) >= len(needed) - 1
