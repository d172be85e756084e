"""The next question: it can change what is done next, a look comes first, and asking ends."""

import pytest

from tests.proof.asking import Measured, ask_out, asked_of_invented, invented_case
from tests.support.explaining import drawn_case, likelihood, look_on, open_outlines, sweep_of
from tests.support.intake import READY
from tests.support.knowledge import shipped
from triage.case.changes import new_case, new_finding
from triage.case.profile import Bench
from triage.explain.nextquestion import ranked_questions


@pytest.mark.parametrize("cases", [4, pytest.param(12, marks=pytest.mark.slow)])
def place_of(found):
    return found.line.finding or "specimen", found.line.question


@pytest.mark.parametrize("cases", [4, pytest.param(12, marks=pytest.mark.slow)])
def test_a_single_answer_that_is_asked_for_changes_the_next_step(cases):
    """Whatever is asked on its own account has an answer that changes the next step, and why."""
    checked = 0
    for seed in range(cases):
        sweep = sweep_of(*drawn_case(seed))
        for found in ranked_questions(sweep, likelihood()):
            assert found.because
            assert 0 < found.chance <= 1
            assert found.value > 0
            if found.together == 1:
                heads = {o.head for a, o in open_outlines(sweep) if a.place == place_of(found)}
                assert heads - {sweep.base.head}, found
                checked += 1
    assert checked > 2.5 * cases


def test_what_could_change_the_next_step_is_never_left_unasked():
    """No open answer changes the next step unless its question is in the list."""
    for seed in range(12):
        sweep = sweep_of(*drawn_case(seed))
        if not (sweep.base.refused or sweep.base.held):
            asked = {place_of(found) for found in ranked_questions(sweep, likelihood())}
            moving = {a.place for a, o in open_outlines(sweep) if o.head != sweep.base.head}
            assert moving <= asked


def asked_of(signs=None, **told):
    """Return the look-ahead of a beetle that is seen at its wing cases, and what is asked of it."""
    finding = new_finding("f1", "elytra", signs=signs or {})
    sweep = sweep_of(new_case("x", taxon="beetles", findings=(finding,), answers=told), Bench())
    return sweep, ranked_questions(sweep, likelihood())


def test_a_micro_test_waits_for_every_look_and_a_refused_case_asks_nothing():
    risks = [found.line.risk for found in asked_of({"colour": "white"})[1]]
    assert risks == sorted(risks, key=lambda risk: risk == "micro-test")
    assert asked_of(lacquered="yes")[1] == ()


def test_gate_questions_of_later_stages_are_not_asked():
    """At intake nobody is asked whether the set parts are firm."""
    sweep, found = asked_of()
    assert sweep.base.stage == "intake"
    asked = {each.line.question for each in found}
    assert not asked & {"set-firm", "kept"}
    assert {"lacquered", "worth-it"} <= asked


def test_chances_of_answers_add_up_and_exclusions_count():
    found = likelihood()
    for question in found.questions:
        for deposit in shipped().deposits:
            chances = found.answers(question, {deposit: 1.0})
            assert sum(chances.values()) == pytest.approx(1.0)
            for answer, chance in chances.items():
                if found.weight(question, answer, deposit) <= -1 and max(chances.values()) > chance:
                    assert chance == 0.0


def test_asking_ends_with_the_same_first_step_on_an_invented_case():
    look = look_on(Bench())
    truth = invented_case(look, likelihood(), 0)
    assert truth == invented_case(look, likelihood(), 0)
    found = ask_out(look, likelihood(), truth)
    assert found.same_step
    assert found.asked < found.there_are


@pytest.mark.slow
def test_half_the_questions_are_enough_on_200_invented_cases():
    """At most half the questions of asking all, with the same first step in every case."""
    look = look_on(Bench())
    found = Measured(tuple(asked_of_invented(look, likelihood(), seed) for seed in range(200)))
    print(found.line())
    assert found.agreeing == 200
    assert found.share <= 0.5


def test_the_group_is_asked_where_only_it_and_a_sign_open_a_step():
    """Not knowing the group bars what a sign alone cannot open; both together do."""
    look = look_on(Bench())
    told = ("worth-it", "whole", "age", "lacquered", "old-poison-signs", "live-pest-signs")
    told += ("mouldy-smell", "cracks", "hydration", "joints-stuck")
    answers = {question: READY[question] for question in told} | {"pest-holes": "some"}
    grains = new_finding("f3", "abdomen-hard", signs={"texture": "grains"})
    places = (new_finding("f1", "antenna"), new_finding("f2", "tarsus"), grains)
    truth = new_case("group", taxon="true-bugs", answers=answers, findings=places)
    assert look.of_case(truth).first is not None
    assert ask_out(look, likelihood(), truth).same_step
