"""A sign that is told in two ways is named with both answers; nothing rests on it, nothing is lost."""

from datetime import timedelta
from pathlib import Path

import pytest

from tests.support.builders import opened
from tests.support.intake import SOUND
from tests.support.knowledge import NOON, shipped
from triage.case import changes
from triage.case.store import create_case
from triage.plan.model import Plan
from triage.service.workshop import Workshop

CASE, TEST = "gummed", "water-drop"
SEEN = {"ethanol-drop": "whitens", TEST: "dissolves"}


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    finding = changes.new_finding("f1", "elytra", named="sugar-honey", signs=SEEN)
    case = changes.new_case(CASE, taxon="beetles", answers=dict(SOUND), findings=(finding,))
    create_case(tmp_path, case)
    return tmp_path


def after(folder: Path, hours: float) -> Workshop:
    """Return the program begun anew so many hours after noon."""
    return opened(folder, at=NOON + timedelta(hours=hours))


def planned(shop: Workshop) -> Plan:
    return shop.plan(shop.load(CASE))


def named(plan: Plan) -> list[str]:
    return [notice.text for notice in plan.notices if notice.rule == "told-twice"]


def acting(plan: Plan) -> set[str]:
    methods = shipped().methods
    return {s.method for s in plan.steps if s.finding and not methods[s.method].harmless}


def test_both_answers_are_named_with_the_time_and_nothing_gets_harsher(folder: Path) -> None:
    before = acting(planned(after(folder, 0)))
    assert before
    shop = after(folder, 3)
    shop.answer(CASE, TEST, "nothing", "f1")
    plan = planned(shop)
    (text,) = named(plan)
    answers = {a.id: a.text for a in shipped().questions[TEST].answers}
    assert answers["dissolves"] in text
    assert answers["nothing"] in text
    assert "2026-03-04 15:00" in text
    assert acting(plan) <= before
    (kept,) = shop.load(CASE).restated
    assert (kept.before, kept.after) == ("dissolves", "nothing")


@pytest.mark.parametrize("answer", ["dissolves", "nothing"])
def test_one_more_answer_settles_it_and_all_stays_on_file(folder: Path, answer: str) -> None:
    after(folder, 3).answer(CASE, TEST, "nothing", "f1")
    shop = after(folder, 6)
    shop.answer(CASE, TEST, answer, "f1")
    case = shop.load(CASE)
    # Back to the first answer is a contradiction once more: it is asked again.
    assert bool(case.in_doubt()) is (answer == "dissolves")
    after(folder, 9).answer(CASE, TEST, answer, "f1")
    shop = after(folder, 12)
    assert named(planned(shop)) == []
    assert len(shop.load(CASE).restated) == (2 if answer == "nothing" else 3)


def test_a_slip_of_the_finger_and_a_place_that_was_worked_on_contradict_nothing(
    folder: Path,
) -> None:
    shop = after(folder, 3)
    shop.answer(CASE, "puff", "moves", "f1")
    shop.answer(CASE, "puff", "stays", "f1")
    assert named(planned(shop)) == []
    step = next(s for s in planned(shop).steps if s.finding == "f1")
    shop.record(CASE, step.id, "better")
    after(folder, 6).answer(CASE, TEST, "nothing", "f1")
    assert named(planned(after(folder, 7))) == []
