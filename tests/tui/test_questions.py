"""Asking: the best question first, when to stop, and how an answer is corrected."""

import re

import pytest

from tests.tui.driving import CASE, Driver, driven
from tests.tui.test_whole_job import INTAKE, OILY
from triage.plan.questions import is_put
from triage.service.workshop import Workshop
from triage.tui.keysets import WORDS
from triage.tui.screens import plan as plan_module


async def to_new_finding(driver: Driver) -> None:
    """Go to the questions about a second finding on the hairy thorax."""
    await driver.press("l", "H", "2", on="question")


def new_bee(workshop: Workshop, answers: dict[str, str]) -> str:
    """Begin a case with one finding on the hairy thorax, nothing seen on it yet."""
    case = workshop.new("bee", "bees-wasps")
    workshop.answer_all(case.id, None, answers)
    workshop.see(case.id, "thorax-hairy")
    return case.id


async def to_the_end_of_asking(driver: Driver) -> None:
    """Say "cannot tell" to everything asked about the finding that is worked on first."""
    await driver.press("l", "H", "1", on="question")
    await driver.answer_all()


async def press_choice(driver: Driver, choice: str) -> None:
    """Choose one of the lines that stand where nothing more is asked."""
    listed = driver.screen.query_one("#answers")
    ids = [listed.get_option_at_index(at).id for at in range(listed.option_count)]
    await driver.press(WORDS.answers[ids.index(choice)])


async def test_the_question_worth_most_comes_first_until_none_would_change_the_next_step(
    driver: Driver,
) -> None:
    def worth() -> list[str]:
        best = driver.workshop.desk.questions(driver.case, declined)
        return [q.line.question for q in best if q.line.finding == "f1"]

    declined = frozenset()
    assert len(worth()) > 5
    await driver.press("l", "H", "1", on="question")
    for _ in range(5):
        declined = driver.screen.visit.declined
        assert driver.screen.question.question == worth()[0]
        await driver.press("u")
    await driver.answer_all()
    declined = driver.screen.visit.declined
    assert worth() == []
    assert "Enough is known here" in driver.text or "Nothing is left" in driver.text
    assert not driver.screen.check_action("cannot_tell", ())
    assert not driver.screen.check_action("why", ())
    # A finding may be left as it is from here.
    await press_choice(driver, "keep-it")
    await driver.on("form")


async def test_what_could_change_the_next_step_is_asked_first(driver: Driver) -> None:
    """Another finding comes first, but mould on this one would stop the work on all of them."""
    await to_new_finding(driver)
    agenda = driver.workshop.desk.agenda(driver.case).about(driver.screen.finding)
    assert agenda.worth
    assert agenda.rest
    assert driver.screen.question.question == agenda.worth[0].question
    assert "cannot change the" not in driver.text


async def test_a_settled_finding_is_said_and_asking_may_go_on(workshop: Workshop) -> None:
    async with driven(workshop, case=new_bee(workshop, INTAKE)) as driver:
        await driver.press("l", "H", "1", on="question")
        await driver.answer_all(OILY)
        (line,) = workshop.plan(driver.case).findings
        assert line.standing == "settled"
        assert "Settled: oily film" in driver.words
        before = len(driver.screen.visit.asked)
        await press_choice(driver, "go-on")
        assert driver.screen.question is not None
        await driver.press("z")
        assert len(driver.screen.visit.asked) == before - 1


async def test_what_nobody_can_tell_ends_with_the_harmless_step_and_what_to_look_for(
    workshop: Workshop,
) -> None:
    """And with what is worth asking elsewhere."""
    async with driven(workshop, case=new_bee(workshop, {})) as driver:
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
        await press_choice(driver, "go-elsewhere")
        assert driver.screen.question == best
        assert driver.screen.finding is None is best.finding
        # Back again: the answer belongs to the finding that its question is about.
        await driver.press("z")
        assert driver.screen.question.question == last.question
        assert "cannot change" not in driver.text
        await driver.press("1")
        assert driver.case.finding("f1").signs[last.question] == last.answers[0][0]


async def test_going_back_puts_the_later_answers_again(driver: Driver) -> None:
    await to_new_finding(driver)
    await driver.press("z")
    assert "nothing was answered here yet" in driver.text
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
    signs = driver.case.finding(driver.screen.finding).signs
    assert signs[asked[0]] == driver.workshop.knowledge.questions[asked[0]].answers[1].id


async def test_an_answer_of_another_visit_can_be_corrected(driver: Driver) -> None:
    await driver.press("l", "W", on="question")
    assert not driver.screen.check_action("name", ())  # a specimen has no deposit to name
    await driver.press("z", on="choice")
    assert "Which answer was wrong?" in driver.text
    assert "taxon" in driver.choices
    await driver.choose("whole")
    await driver.on("question")
    assert driver.screen.question.question == "whole"
    assert "< your answer so far" in driver.text
    await driver.press("2")
    answers = driver.workshop.knowledge.questions["whole"].answers
    assert driver.case.answers["whole"] == answers[1].id


async def test_the_chosen_question_of_the_plan_is_asked(driver: Driver) -> None:
    options = driver.screen.query_one("#rows").options
    wanted = [held.row for held in options if getattr(held.row, "question", "")][-1]
    await driver.to_row(wanted.id)
    await driver.press("enter", on="question")
    assert driver.screen.question.question == wanted.question
    assert driver.screen.question.finding == wanted.finding


async def test_the_plan_tells_how_firm_its_steps_are(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(plan_module, "RESTING_S", 0)
    async with driven(workshop, case=CASE) as driver:
        await driver.assured()
        firmness = workshop.desk.firmness(driver.case)
        assert driver.screen.sure.firmness == firmness
        await driver.settled()
        word = "settled" if firmness[0].firm else "may change"
        assert word in driver.text
        await driver.press("f")
        assert f"{word}: " in driver.text


async def test_the_cursor_goes_to_the_step_that_is_due_now(driver: Driver) -> None:
    assert driver.screen.row.is_now
    step = driver.screen.row.step
    await driver.press("down")
    assert not driver.screen.row.is_now
    driver.workshop.skip(CASE, step.finding, step.method, "not this one")
    await driver.press("l", "q", on="plan")
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
        assert len(driver.case.findings) == len(before.findings) + 1
        await driver.press("z", "2")
        await driver.until(lambda: driver.case.findings == before.findings, "taken back")
        assert len(driver.case.withdrawn) == 1


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
    of_stuff = {"texture", "dry-brush", "ethanol-drop"}
    for nature, is_asked in (("own-look", False), ("colour-changed", False), ("lies-on", True)):
        case = new_bee(workshop, INTAKE)
        workshop.answer(case, "nature", nature, "f1")
        left = {q.question for q in workshop.desk.agenda(workshop.load(case)).about("f1").all}
        assert (of_stuff <= left) is is_asked
        assert is_asked or not left & {*of_stuff, "damp-before"}
