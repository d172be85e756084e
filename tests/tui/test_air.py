"""The air screen: sentence, curve and day ledger by keys, with and without colour."""

from __future__ import annotations

import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from tests.tui.driving import NOON, Driver, Hand, driven
from triage.case.changes import with_attempt
from triage.case.models import Attempt
from triage.case.store import load_case, update_case
from triage.exposure.wording import number
from triage.service.workshop import Workshop, open_workshop
from triage.tui.keysets import WORDS
from triage.tui.screens.air import AirScreen
from triage.tui.screens.windows import DetailScreen

ROOT = Path(__file__).resolve().parents[2]
CASE = "rose-chafer-plate-1"


@pytest.fixture
def bench(tmp_path: Path) -> Workshop:
    folder = tmp_path / "cases"
    folder.mkdir()
    for name in (CASE, "bumblebee-plate-3", "bench"):
        shutil.copy(ROOT / "cases" / f"{name}.yaml", folder)
    return open_workshop(cases=folder, clock=Hand())


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


async def chosen(driver: Driver, choice: str) -> None:
    await driver.press(WORDS.pick([each for each, _ in driver.screen._choices].index(choice)))


async def test_next_step_has_sentence_curve_and_day(bench: Workshop) -> None:
    async with driven(bench, case=CASE, size=(100, 30)) as driver:
        await driver.press("a", on=AirScreen)
        text = driver.text
        assert "+ WITHIN" in text
        assert "* face" in text
        assert "8 h limit" in text
        assert "Nothing was released into this room in the last 24 hours." in text


async def test_what_is_tried_is_held_against_the_same_limit_as_before(bench: Workshop) -> None:
    """With the window shut another limit binds: the level with it open stands beside it."""
    async with driven(bench, case="bumblebee-plate-3") as driver:
        await driver.press("a", on=AirScreen)
        before = driver.screen.view.answer.air
        choices = list(bench.knowledge.controls)
        await driver.press("enter", "3", str(choices.index("none") + 1))
        now = driver.screen.view.answer.air
        assert now.binding != before.binding
        who, basis = now.binding.split(" ")
        name = bench.knowledge.authorities[who].name
        (was,) = (each for each in before.limits if (each.authority, each.basis) == (name, basis))
        told = " ".join(driver.text.split())
        assert f"As planned: {number(was.level_mg_per_m3)} mg/m3 against the same limit" in told
        await driver.press("enter", "2", "1")
        assert "As planned" in driver.text
        await driver.press("enter", "4")
        assert "As planned" not in driver.text


async def test_amount_and_ventilation_can_be_tried(bench: Workshop) -> None:
    async with driven(bench, case=CASE, size=(100, 40)) as driver:
        await driver.press("a", "enter", "1")
        await chosen(driver, "acetone")
        await driver.press("enter", "2")
        await chosen(driver, "50")
        assert "X OVER" in driver.text
        assert "times" in driver.text
        await driver.press("enter", "3")
        await chosen(driver, "hood")
        assert "+ WITHIN" in driver.text
        assert bench.bench.room.control == "window"


async def test_everything_in_full_is_in_words(bench: Workshop) -> None:
    async with driven(bench, case=CASE, size=(100, 40)) as driver:
        await driver.press("a", "f", on=DetailScreen)
        plain = driver.screen.plain
        assert "highest at the face:" in plain
        assert "largest amount in one pass now" in plain
        assert "sources" in plain


async def test_day_counts_attempts_on_every_case(bench: Workshop) -> None:
    """Two cases, three attempts of this morning: the bar stands for all of them."""
    with_attempts(bench, CASE, 0.5, 0.5)
    with_attempts(bench, "bumblebee-plate-3", 0.5)
    async with driven(bench, case=CASE, size=(100, 40)) as driver:
        await driver.press("a", on=AirScreen)
        assert "3 releases in 24 h" in driver.text
        assert "8 h [" in driver.text
        await driver.press("f")
        assert driver.screen.plain.count("ethyl acetate  ") == 3
        assert "ethyl-acetate" not in driver.screen.plain.partition("sources")[0]


async def test_without_a_case_it_shows_the_day_and_asks_for_an_agent(bench: Workshop) -> None:
    async with driven(bench, size=(100, 30)) as driver:
        driver.app.push_screen(AirScreen(driver.app.services))
        await driver.on(AirScreen)
        assert "Enter looks at an agent" in driver.text
        await driver.press("enter")
        assert [each for each, _ in driver.screen._choices] == ["agent"]
        await driver.press("1", "1")
        await driver.press("enter")
        assert [each for each, _ in driver.screen._choices] == ["agent", "amount", "ventilation"]
