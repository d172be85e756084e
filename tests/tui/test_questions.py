"""Asking: the best question first, when to stop, and how an answer is corrected."""

from __future__ import annotations

import re

import pytest

from tests.tui.conftest import Opened
from tests.tui.driving import Driver, driven
from tests.tui.test_whole_job import INTAKE, OILY
from triage.plan.questions import is_put
from triage.service.workshop import Workshop
from triage.tui.keysets import WORDS
from triage.tui.screens import plan as plan_module
from triage.tui.screens.form import FormScreen
from triage.tui.screens.observe import ObserveScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.questions import QuestionScreen
from triage.tui.screens.windows import ChoiceScreen

CASE = "bumblebee-plate-3"


async def to_new_finding(driver: Driver) -> None:
    """Go to the questions about a second finding on the hairy thorax."""
    await driver.press("l", on=ObserveScreen)
    await driver.press("H", on=ChoiceScreen)
    await driver.press("2", on=QuestionScreen)


def new_bee(workshop: Workshop, answers: dict[str, str]) -> str:
    """Begin a case with one finding on the hairy thorax, nothing seen on it yet."""
    case = workshop.new("bee", "bees-wasps")
    workshop.answer_all(case.id, None, answers)
    workshop.see(case.id, "thorax-hairy")
    return case.id


async def to_the_end_of_asking(driver: Driver) -> None:
    """Say "cannot tell" to everything asked about the finding that is worked on first."""
    await driver.press("l", "H", "1", on=QuestionScreen)
    for _ in range(60):
        if driver.screen.question is None:
            return
        await driver.press("u")
    raise AssertionError("asking never ends")


def keys_of(driver: Driver) -> dict[str, str]:
    """Return what may be chosen now with its key."""
    listed = driver.screen.query_one("#answers")
    ids = [listed.get_option_at_index(at).id for at in range(listed.option_count)]
    return dict(zip(ids, WORDS.answers, strict=False))


async def test_the_question_worth_most_comes_first(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        case = workshop.load(CASE)
        best = workshop.desk.questions(case)
        mine = [q.line.question for q in best if q.line.finding == "f1"]
        assert len(mine) > 5
        await driver.press("l", "H", "1", on=QuestionScreen)
        for _ in range(5):
            declined = driver.screen.visit.declined
            best = workshop.desk.questions(case, declined)
            mine = [q.line.question for q in best if q.line.finding == "f1"]
            assert driver.screen.question.question == mine[0]
            await driver.press("u")


async def test_asking_stops_when_no_answer_would_change_the_next_step(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        await to_the_end_of_asking(driver)
        declined = driver.screen.visit.declined
        left = workshop.desk.questions(workshop.load(CASE), declined)
        assert [q for q in left if q.line.finding == "f1"] == []
        assert "Enough is known here" in driver.text or "Nothing is left" in driver.text
        assert not driver.screen.check_action("cannot_tell", ())
        assert not driver.screen.check_action("why", ())


async def test_what_could_change_the_next_step_is_asked_first(workshop: Workshop) -> None:
    """Another finding comes first, but mould on this one would stop the work on all of them."""
    async with driven(workshop, case=CASE) as driver:
        await to_new_finding(driver)
        agenda = workshop.desk.agenda(workshop.load(CASE)).about(driver.screen.finding)
        assert agenda.worth
        assert agenda.rest
        assert driver.screen.question.question == agenda.worth[0].question
        assert "cannot change the" not in driver.text


async def test_a_specimen_has_no_deposit_to_name(looking: Workshop) -> None:
    async with driven(looking, case=CASE) as driver:
        await driver.press("l", "W", on=QuestionScreen)
        assert not driver.screen.check_action("name", ())


async def test_a_settled_finding_is_said_and_asking_may_go_on(workshop: Workshop) -> None:
    case = new_bee(workshop, INTAKE)
    async with driven(workshop, case=case) as driver:
        await driver.press("l", "H", "1", on=QuestionScreen)
        for _ in range(30):
            asked = driver.screen.question
            if asked is None:
                break
            answers = [answer for answer, _ in asked.answers]
            wanted = OILY.get(asked.question)
            await driver.press(WORDS.answers[answers.index(wanted)] if wanted else "u")
        (line,) = workshop.plan(workshop.load(case)).findings
        assert line.standing == "settled"
        assert "Settled: oily film" in " ".join(driver.text.split())
        before = len(driver.screen.visit.asked)
        await driver.press(keys_of(driver)["go-on"])
        assert driver.screen.question is not None
        await driver.press("z")
        assert len(driver.screen.visit.asked) == before - 1


async def test_what_nobody_can_tell_ends_with_the_harmless_step_and_what_to_look_for(
    workshop: Workshop,
) -> None:
    """And with what is worth asking elsewhere."""
    case = new_bee(workshop, {})
    async with driven(workshop, case=case) as driver:
        await to_the_end_of_asking(driver)
        assert "cannot be told yet" in driver.text
        said = driver.screen.query_one("#ask-cost").content.plain
        harmless = re.findall(r"Harmless meanwhile: (.*?)\.", said)
        (method,) = (m for m in workshop.knowledge.methods.values() if m.name in harmless)
        grades = method.harshness
        assert method.harmless
        assert grades.mechanical.grade == grades.chemical.grade == grades.person.grade == 0
        looked = driver.screen.visit.asked[0]
        assert f"Look for next:\n- {looked.ask}" in said
        best = driver.screen.visit.left().worth[0]
        last = driver.screen.visit.asked[-1]
        await driver.press(keys_of(driver)["go-elsewhere"])
        assert driver.screen.question == best
        assert driver.screen.finding is None is best.finding
        # Back again: the answer belongs to the finding that its question is about.
        await driver.press("z")
        assert driver.screen.question.question == last.question
        assert "cannot change" not in driver.text
        await driver.press("1")
        assert workshop.load(case).finding("f1").signs[last.question] == last.answers[0][0]


async def test_a_finding_may_be_left_as_it_is_from_the_end_of_asking(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        await to_the_end_of_asking(driver)
        await driver.press(keys_of(driver)["keep-it"], on=FormScreen)


async def test_going_back_puts_the_later_answers_again(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        await to_new_finding(driver)
        asked = []
        for _ in range(3):
            question = driver.screen.question
            # It smells of nothing, and there are threads: neither settles what it is.
            await driver.press("2" if asked else WORDS.answers[len(question.answers) - 1])
            asked.append(question.question)
        await driver.press("z", "z", "z")
        assert driver.screen.question.question == asked[0]
        await driver.press("2")
        assert driver.screen.question.question == asked[1]
        assert "< your answer so far" in driver.text
        await driver.press("enter")  # it stands under the cursor
        assert driver.screen.question.question == asked[2]
        signs = workshop.load(CASE).finding(driver.screen.finding).signs
        first = workshop.knowledge.questions[asked[0]].answers[1].id
        assert signs[asked[0]] == first


async def test_an_answer_of_another_visit_can_be_corrected(
    workshop: Workshop, opened_on: Opened
) -> None:
    async with driven(workshop, case=CASE) as driver:
        await driver.press("l", "W", on=QuestionScreen)
        await driver.press("z", on=ChoiceScreen)
        assert "Which answer was wrong?" in driver.text
        keys = [choice for choice, _ in driver.screen._choices]
        assert "whole" in keys
        assert "taxon" in keys
        await driver.press(WORDS.answers[keys.index("whole")], on=QuestionScreen)
        assert driver.screen.question.question == "whole"
        assert "< your answer so far" in driver.text
        await driver.press("2")
        assert (
            workshop.load(CASE).answers["whole"]
            == workshop.knowledge.questions["whole"].answers[1].id
        )


async def test_without_an_answer_there_is_nothing_to_go_back_to(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        await to_new_finding(driver)
        await driver.press("z")
        assert "nothing was answered here yet" in driver.text


async def test_the_chosen_question_of_the_plan_is_asked(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        await driver.on(PlanScreen)
        rows = [
            held.row
            for held in driver.screen.query_one("#rows").options
            if getattr(held.row, "question", "")
        ]
        wanted = rows[-1]
        listed = driver.screen.query_one("#rows")
        listed.highlighted = listed.get_option_index(wanted.id)
        await driver.press("enter", on=QuestionScreen)
        assert driver.screen.question.question == wanted.question
        assert driver.screen.question.finding == wanted.finding


async def test_the_plan_tells_how_firm_its_steps_are(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plan_module, "RESTING_S", 0)
    async with driven(workshop, case=CASE) as driver:
        await driver.on(PlanScreen)
        await driver.assured()
        firmness = workshop.desk.firmness(workshop.load(CASE))
        assert driver.screen.sure.firmness == firmness
        await driver.settled()
        word = "settled" if firmness[0].firm else "may change"
        assert word in driver.text
        await driver.press("f")
        assert f"{word}: " in driver.text


async def test_the_cursor_goes_to_the_step_that_is_due_now(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        await driver.on(PlanScreen)
        assert driver.screen.row.is_now
        await driver.press("down")
        assert not driver.screen.row.is_now
        step = workshop.plan(workshop.load(CASE)).next_step()
        workshop.skip(CASE, step.finding, step.method, "not this one")
        await driver.press("l", "q", on=PlanScreen)
        assert driver.screen.row.is_now


async def test_a_zone_opened_by_mistake_is_named_and_taken_back(workshop: Workshop) -> None:
    """One key takes back the very last thing, and says what it is before it does."""
    case = "rose-chafer-plate-1"
    before = workshop.load(case)
    workshop.see(case, "antenna")
    async with driven(workshop, case=case) as driver:
        await driver.press("z")
        assert "Take this back?" in driver.text
        assert "antenna" in driver.text
        await driver.press("1")
        assert len(workshop.load(case).findings) == len(before.findings) + 1
        await driver.press("z", "2")
        await driver.until(lambda: workshop.load(case).findings == before.findings, "taken back")
        assert len(workshop.load(case).withdrawn) == 1


def test_what_group_place_or_record_answer_is_not_asked(workshop: Workshop) -> None:
    """No bee has hairs that sting, a hairy thorax has no lenses, dust cannot have come back yet."""
    for taxon, stings in (("bees-wasps", False), ("hairy-caterpillars", True), ("unknown", True)):
        case = workshop.new("one", taxon).id
        _, thorax = workshop.see(case, "thorax-hairy")
        _, eye = workshop.see(case, "compound-eye")
        agenda = workshop.desk.agenda(workshop.load(case))
        for question, finding, is_asked in (
            ("urticating-hairs", None, stings),
            ("lens-look", thorax, False),
            ("lens-look", eye, True),
            ("dust-returns", thorax, False),
        ):
            place = (question, finding)
            knowledge = workshop.knowledge
            assert is_put(knowledge, workshop.load(case), finding, question) is is_asked, place
            assert is_asked or place not in {(q.question, q.finding) for q in agenda.all}


def test_what_one_look_tells_is_asked_before_what_is_remembered_or_touched(
    workshop: Workshop,
) -> None:
    """And micro-tests, which mark the place, last of all."""
    case = new_bee(workshop, INTAKE)
    questions = workshop.knowledge.questions
    worth = workshop.desk.agenda(workshop.load(case)).about("f1").worth
    turns = [
        (q.risk == "micro-test", q.risk == "touch" or questions[q.question].gives == "provenance")
        for q in worth
        if q.question != "airing"  # a look after a day
    ]
    assert turns == sorted(turns)
    assert set(turns) == {(False, False), (False, True), (True, False)}
    assert {"came-from", "damp-before", "dry-brush"} <= {q.question for q in worth}


def test_where_nothing_lies_on_it_nobody_asks_what_the_stuff_is(workshop: Workshop) -> None:
    for nature, is_asked in (("own-look", False), ("colour-changed", False), ("lies-on", True)):
        case = new_bee(workshop, INTAKE)
        workshop.answer(case, "nature", nature, "f1")
        left = {q.question for q in workshop.desk.agenda(workshop.load(case)).about("f1").all}
        assert ({"texture", "dry-brush", "ethanol-drop"} <= left) is is_asked
        assert is_asked or not left & {"texture", "dry-brush", "ethanol-drop", "damp-before"}
