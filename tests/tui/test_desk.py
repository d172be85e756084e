"""Every question to the plan is two keys away, on the plan and at the step; nothing is recorded."""

from __future__ import annotations

from tests.tui.driving import driven
from tests.tui.places import CASE, home
from triage.explain.text import changes_text
from triage.service import Workshop
from triage.tui.screens.choice import ChoiceScreen
from triage.tui.screens.detail import DetailScreen
from triage.tui.screens.plan import PlanScreen

ANSWERED = {"1": "Why it stands here", "4": "How f1 is read", "5": "What would change",
            "7": "Worth asking", "8": "How firm", "9": "What does not agree", "0": "Why this stands"}  # fmt: skip


async def test_two_keys_to_every_answer_from_the_plan_and_from_the_step(looking: Workshop) -> None:
    before = (looking.cases / f"{CASE}.yaml").read_bytes()
    async with driven(looking, case=CASE) as driver:
        for start, desk in (((), "w"), (("s",), "e")):
            await home(driver)
            await driver.press(*start)
            for key, title in ANSWERED.items():
                await driver.press(desk, key)
                await driver.on(DetailScreen)
                assert title in driver.text, (start, key)
                await driver.press("q")
            for key in "236":
                await driver.press(desk, key)
                await driver.on(ChoiceScreen)
                await driver.press("1")
                if key == "6":
                    await driver.press("1")
                await driver.on(DetailScreen)
                await driver.press("q")
    assert (looking.cases / f"{CASE}.yaml").read_bytes() == before


async def test_the_answers_are_those_of_the_desk(looking: Workshop) -> None:
    case = looking.load(CASE)
    async with driven(looking, case=CASE) as driver:
        await driver.press("w", "5")
        shown = " ".join(driver.screen.plain.split())
        for line in changes_text(looking.desk.changes(case)[:5], looking.knowledge):
            assert line.strip(" -")[:30].lower() in shown.lower()
        await driver.press("q", "w", "9")
        for found in looking.desk.contradictions(case):
            assert found.sentence in driver.screen.plain
        await driver.press("q")
        assert isinstance(driver.screen, PlanScreen)


async def test_what_if_shows_the_other_plan(looking: Workshop) -> None:
    """Dry instead of supple: the first step is one that softens."""
    case = looking.load(CASE)
    then = looking.desk.what_if(case, {"hydration": "dry"}).then
    step = then.next_step()
    assert step is not None
    async with driven(looking, case=CASE, size=(100, 60)) as driver:
        await driver.press("w", "6")
        names = [each for each, _ in driver.screen._choices]
        driver.screen.query_one("#choices").highlighted = names.index("hydration")
        await driver.press("enter")
        answers = [each for each, _ in driver.screen._choices]
        driver.screen.query_one("#choices").highlighted = answers.index("dry")
        await driver.press("enter")
        assert f"as it would be: {then.stage}: {step.name}" in driver.screen.plain
