"""The air screen: sentence, curve and day ledger by keys, with and without colour."""

from datetime import timedelta

from tests.tui.driving import CASE as BEE
from tests.tui.driving import NOON, Driver, driven
from triage.case.changes import with_attempt
from triage.case.models import Attempt
from triage.case.store import load_case, update_case
from triage.exposure.wording import number
from triage.service.workshop import Workshop
from triage.tui.screens.air import AirScreen

CASE = "rose-chafer-plate-1"


def with_attempts(workshop: Workshop, case: str, *amounts_ml: float) -> None:
    """Record solvent attempts of this morning on a case."""
    path = workshop.path_of(case)
    for hour, amount in enumerate(amounts_ml, start=1):
        made = Attempt(
            id=load_case(path).next_attempt_id(),
            at=NOON - timedelta(hours=hour),
            step="f1-ethyl-acetate-brush",
            finding="f1",
            method="ethyl-acetate-brush",
            agent="ethyl-acetate",
            outcome="better",
            amount_ml=amount,
        )
        update_case(path, lambda old, made=made: with_attempt(old, made))


async def test_next_step_has_sentence_curve_and_day(workshop: Workshop) -> None:
    """The day counts the attempts on every case: two cases, three attempts of this morning."""
    async with driven(workshop, case=CASE, size=(100, 40)) as driver:
        await driver.press("a", on="air")
        for said in ("+ WITHIN", "* face", "8 h limit"):
            assert said in driver.text
        assert "Nothing was released into this room in the last 24 hours." in driver.text
        await driver.press("f", on="detail")
        for said in ("highest at the face:", "largest amount in one pass now", "sources"):
            assert said in driver.screen.plain
    with_attempts(workshop, CASE, 0.5, 0.5)
    with_attempts(workshop, BEE, 0.5)
    async with driven(workshop, case=CASE, size=(100, 40)) as driver:
        await driver.press("a", on="air")
        assert "3 releases in 24 h" in driver.text
        assert "8 h [" in driver.text
        await driver.press("f")
        assert driver.screen.plain.count("ethyl acetate  ") == 3
        assert "ethyl-acetate" not in driver.screen.plain.partition("sources")[0]


async def test_what_is_tried_is_held_against_the_same_limit_as_before(driver: Driver) -> None:
    """With the window shut another limit binds: the level with it open stands beside it."""
    await driver.press("a", on="air")
    before = driver.screen.view.answer.air
    await driver.press("enter", "3")
    await driver.choose("none")
    now = driver.screen.view.answer.air
    assert now.binding != before.binding
    who, basis = now.binding.split(" ")
    name = driver.workshop.knowledge.authorities[who].name
    (was,) = (each for each in before.limits if (each.authority, each.basis) == (name, basis))
    against = f"As planned: {number(was.level_mg_per_m3)} mg/m3 against the same limit"
    assert against in driver.words
    await driver.press("enter", "2", "1")
    assert "As planned" in driver.text
    await driver.press("enter", "4")
    assert "As planned" not in driver.text


async def test_amount_and_ventilation_can_be_tried(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE, size=(100, 40)) as driver:
        await driver.press("a", "enter", "1")
        await driver.choose("acetone")
        await driver.press("enter", "2")
        await driver.choose("50")
        assert "X OVER" in driver.text
        assert "times" in driver.text
        await driver.press("enter", "3")
        await driver.choose("hood")
        assert "+ WITHIN" in driver.text
        assert workshop.bench.room.control == "window"


async def test_without_a_case_it_shows_the_day_and_asks_for_an_agent(workshop: Workshop) -> None:
    async with driven(workshop, size=(100, 30)) as driver:
        driver.app.push_screen(AirScreen(driver.app.services))
        await driver.on("air")
        assert "Enter looks at an agent" in driver.text
        await driver.press("enter")
        assert driver.choices == ["agent"]
        await driver.press("1", "1", "enter")
        assert driver.choices == ["agent", "amount", "ventilation"]
