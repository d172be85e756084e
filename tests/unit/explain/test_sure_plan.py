"""The plan as it leaves the program: how firm each step is, and questions by their value."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest

from tests.support.explaining import CASES, DEMO, demo_bench
from tests.support.knowledge import consultant
from triage.cli import main
from triage.explain.sureplan import sure_plan_json
from triage.plan.model import Notice
from triage.service.workshop import Workshop
from triage.show.plan import plan_text
from triage.show.reasons import firmness_lines
from triage.show.words import sure_by_step

NAMES = [path.stem for path in DEMO]


@pytest.fixture(scope="module")
def shop():
    return Workshop(consultant(), CASES, demo_bench())


@pytest.mark.parametrize("name", NAMES)
def test_every_step_says_whether_it_is_firm(shop, name):
    case = shop.load(name)
    steps = json.loads(sure_plan_json(shop.desk.sure_plan(case)))["steps"]
    assert [step["id"] for step in steps] == [step.id for step in shop.plan(case).steps]
    for step in steps:
        firmness = step["firmness"]
        assert set(firmness) == {"firm", "finding", "question", "answer", "because"}
        # Tentative means: there is a question that could move it, and it is named.
        assert firmness["firm"] == (firmness["question"] == "")


@pytest.mark.parametrize("name", NAMES)
def test_the_question_named_could_really_move_the_step(shop, name):
    case = shop.load(name)
    sure = shop.desk.sure_plan(case)
    seen = set()
    for place, each in enumerate(sure.firmness):
        key = (each.finding, each.question, each.answer)
        if each.firm or key in seen:
            continue
        seen.add(key)
        then = shop.plan(shop.with_answer(case, each.finding, each.question, each.answer))
        there = [step.id for step in then.steps]
        assert each.step not in there or (place == 0 and there[0] != each.step)


@pytest.mark.parametrize("name", NAMES)
def test_questions_stand_in_the_order_of_their_value(shop, name):
    case = shop.load(name)
    plan = shop.desk.sure_plan(case).plan
    ranked = shop.desk.questions(case)
    asked = [(q.finding, q.question) for q in plan.questions]
    assert asked[: len(ranked)] == [(q.line.finding, q.line.question) for q in ranked]
    assert len(set(asked)) == len(asked)
    assert set(asked) >= {(q.finding, q.question) for q in shop.plan(case).questions}


def test_the_printed_plan_says_it_beside_each_step(shop):
    sure = shop.desk.sure_plan(shop.load("bumblebee-plate-3"))
    short = plan_text(sure.plan, sure=sure_by_step(sure))
    whole = plan_text(sure.plan, whole=True, sure=sure_by_step(sure))
    first = sure.firmness[0]
    assert not first.firm
    assert short.count('may change: "') == 1
    assert whole.count("may change: ") == sum(not each.firm for each in sure.firmness)


def test_steps_moved_by_one_answer_are_named_together(shop):
    found = shop.desk.firmness(shop.load("bumblebee-plate-3"))
    lines = firmness_lines(found, shop.plan(shop.load("bumblebee-plate-3")))
    reasons = {(each.firm, each.because) for each in found}
    assert sum(line.text.startswith(("settled: ", "may change: ")) for line in lines) == len(
        reasons
    )


def test_the_command_prints_the_same_as_the_desk(shop, capsys):
    assert main(["plan", "skimmer-plate-8", "--json", "--cases", str(CASES)]) == 0
    printed = json.loads(capsys.readouterr().out)
    mine = json.loads(sure_plan_json(shop.desk.sure_plan(shop.load("skimmer-plate-8"))))
    assert printed["steps"] == mine["steps"]
    assert printed["questions"] == mine["questions"]


def test_a_held_case_names_the_hold_first(shop):
    case = shop.load("hoverfly-plate-2")
    first, *_ = shop.desk.why(case)
    assert "held by attempt a2" in first.text
    assert "HELD: Held" not in plan_text(shop.plan(case))


def test_kinds_of_notices_are_printed_as_words(shop):
    plan = shop.plan(shop.load("bumblebee-plate-3"))
    notices = (Notice("leave-it", "It is part of the insect.", "deposit:bloom"),)
    text = plan_text(replace(plan, notices=notices))
    assert "LEAVE IT: It is part of the insect." in text
    assert "LEAVE-IT" not in text
