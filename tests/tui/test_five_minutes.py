"""The walk of the README, key by key, on the demo case it names."""

from __future__ import annotations

import re

from tests.tui.conftest import ROOT
from tests.tui.driving import driven
from triage.service import Workshop
from triage.tui.screens.choice import ChoiceScreen
from triage.tui.screens.detail import DetailScreen
from triage.tui.screens.observe import ObserveScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.questions import QuestionScreen
from triage.tui.screens.recorded import RecordedScreen
from triage.tui.screens.walk import WalkScreen

README = (ROOT / "README.md").read_text(encoding="utf-8")
WALK = README.partition("## Five minutes")[2].partition("```")[0]
CASE = "bumblebee-plate-3"


def test_the_case_and_the_keys_are_those_of_the_readme() -> None:
    assert f"--demo {CASE}" in README
    assert re.findall(r"`(\w)`", WALK) == ["s", "t", "n", "d", "l", "e"]


async def test_the_five_minutes(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        # 1. Three findings; the greasy thorax first.
        await driver.on(PlanScreen)
        plan = driver.screen.plan
        assert len(plan.findings) == 3
        assert "> NOW" in driver.text.splitlines()[1]
        assert "> NOW        blot oil with paper" in driver.text

        # 2. One step fills the screen; the timer's end stands in the case file.
        await driver.press("s")
        await driver.on(WalkScreen)
        for said in ("Lay a paper point", "start 60 s", "STOP (Esc) if you see", "cleared"):
            assert said in driver.text
        await driver.press("t")
        assert workshop.load(CASE).timers

        # 3. No change; after the last pass warm blotting, which is a hold point.
        for number in range(1, 4):
            await driver.press("n")
            await driver.on(RecordedScreen)
            assert len(workshop.load(CASE).attempts) == number
            await driver.press("enter")
            await driver.on(WalkScreen)
        assert driver.screen.step.name == "blot with gentle warmth"
        assert driver.screen.panel == "hold"
        await driver.press("enter", "enter")
        assert driver.screen.panel == "hold"
        await driver.write("paper stays dry")
        await driver.press("enter")
        assert driver.screen.panel == "work"
        steps = workshop.plan(workshop.load(CASE)).steps
        liquid = next(at for at, step in enumerate(steps) if "detergent" in step.name)
        assert "hidden test spot" in [step.name for step in steps[:liquid]]

        # 4. Damage holds the case until a written reason releases it.
        await driver.press("d")
        await driver.on(RecordedScreen)
        assert "HELD" in driver.text
        await driver.press("enter")
        await driver.until(lambda: driver.screen.plan.held, "held")
        assert driver.screen.plan.steps == ()
        await driver.press("r")
        await driver.write("a hair was loose before")
        await driver.press("enter")
        await driver.until(lambda: not driver.screen.plan.held, "released")
        assert workshop.load(CASE).releases[0].reason == "a hair was loose before"

        # 5. Back to the animal: a zone, a question, cannot tell, why.
        await driver.press("l")
        await driver.on(ObserveScreen)
        await driver.press("4")
        await driver.on(QuestionScreen)
        assert "cannot tell" in driver.text
        await driver.press("e")
        await driver.on(DetailScreen)
        assert "Why this is asked" in driver.text
        await driver.press("q", "u", "q", "q")

        # 6. Ask the plan.
        await driver.on(PlanScreen)
        await driver.press("e")
        await driver.on(ChoiceScreen)
        for asked in ("why does this step", "why not another", "would change", "what if", "asking"):
            assert asked in driver.text
