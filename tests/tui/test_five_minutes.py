"""The walk of the README, key by key, on the demo case it names."""

from __future__ import annotations

import os
import re

from tests.tui.conftest import ROOT
from tests.tui.driving import NOON, driven
from triage.service.workshop import Workshop
from triage.tui.keysets import WORDS
from triage.tui.screens.cases import CasesScreen
from triage.tui.screens.observe import IntakeScreen, ObserveScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.questions import QuestionScreen
from triage.tui.screens.recording import RecordedScreen
from triage.tui.screens.walk import WalkScreen
from triage.tui.screens.windows import ChoiceScreen, DetailScreen

README = (ROOT / "README.md").read_text(encoding="utf-8")
WALK = README.partition("## Five minutes")[2].partition("```")[0]
CASE = "bumblebee-plate-3"


def test_the_case_and_the_keys_are_those_of_the_readme() -> None:
    assert f"--demo {CASE}" in README
    assert re.findall(r"`(\w)`", WALK) == ["s", "t", "n", "d", "l", "e"]


async def test_from_the_list_to_the_first_record_in_four_keys(workshop: Workshop) -> None:
    """Enter, start, outcome: the demo's first case that has a step to do now."""
    # The list is the newest first: also a case with nothing to do must not stand in the way.
    os.utime(workshop.cases / "stag-beetle-cupboard.yaml", (2e9, 2e9))
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        keys = ["down", "enter", "s", "b"]
        await driver.press(*keys, on=RecordedScreen)
        cases = [workshop.load(each.id) for each in workshop.list_cases()]
        assert sum(case.attempts != () and case.attempts[-1].at == NOON for case in cases) == 1
        assert len(keys) <= 4


# What a wet, greasy spot in brown hair shows to who only looks at it.
GREASY = {"sheen": "wet-gloss", "setae": "points", "colour": "brown-black", "smell": "none"}


async def test_from_a_new_specimen_to_its_first_step_in_fourteen_keys(workshop: Workshop) -> None:
    """A bee with one greasy zone: its group, the first look, the zone, what is seen, the step."""
    keys = []
    async with driven(workshop) as driver:

        async def press(*some: str) -> None:
            keys.extend(some)
            await driver.press(*some)

        await press("plus", "5", "enter")
        await driver.on(IntakeScreen)
        case_id = driver.screen.case_id
        assert workshop.load(case_id).taxon == "bees-wasps"
        # The signs of an old poison stand on the screen that asks for them.
        assert "poison label, silver beads" in " ".join(driver.text.split())
        await press("r", "enter")
        await driver.on(ObserveScreen)
        assert workshop.load(case_id).answers["old-poison-signs"] == "no"
        await press("H")
        await driver.on(QuestionScreen)
        while (question := driver.screen.question) is not None:
            answers = [answer for answer, _ in question.answers]
            seen = GREASY.get(question.question)
            await press(WORDS.answers[answers.index(seen)] if seen else "u")
        assert workshop.load(case_id).findings[0].named is None
        await press("1")
        await driver.on(WalkScreen)
        assert driver.screen.step.deposit == "oily-film"
        assert len(keys) <= 14


async def test_what_was_not_looked_at_is_not_recorded(workshop: Workshop) -> None:
    """Each line has its key, the usual answer comes first; leaving records nothing."""
    case = workshop.new("bee", "bees-wasps").id
    async with driven(workshop, case=case) as driver:
        await driver.press("l", "W", on=IntakeScreen)
        asked = [question.id for question in driver.screen.questions]
        await driver.press("enter")
        assert "nothing is answered yet" in driver.text
        whole, poison = (str(asked.index(q) + 1) for q in ("whole", "old-poison-signs"))
        await driver.press(whole, whole, poison, "q")
        assert workshop.load(case).answers == {}
        await driver.press("W", whole, whole, poison, "enter")
        assert workshop.load(case).answers == {"whole": "parts-loose", "old-poison-signs": "no"}


async def test_the_five_minutes(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        # 1. Three findings; the greasy thorax first.
        await driver.on(PlanScreen)
        plan = driver.screen.plan
        assert len(plan.findings) == 3
        assert "> NOW" in driver.text.splitlines()[1]
        assert "> NOW        blot oil with paper" in driver.text

        # 2. One step fills the screen; the timer's end stands in the case file.
        await driver.press("s", on=WalkScreen)
        for said in ("Lay a paper point", "start 60 s", "STOP (Esc) if you see", "cleared"):
            assert said in driver.text
        await driver.press("t")
        assert workshop.load(CASE).timers

        # 3. No change; after the last pass warm blotting, which is a hold point.
        for number in range(1, 4):
            await driver.press("n", on=RecordedScreen)
            assert len(workshop.load(CASE).attempts) == number
            await driver.press("enter", on=WalkScreen)
        assert driver.screen.step.name == "blot with gentle warmth"
        assert driver.screen.panel == "hold"
        await driver.press("enter", "enter")
        assert driver.screen.panel == "hold"
        await driver.write("paper stays dry", "enter")
        assert driver.screen.panel == "work"
        steps = workshop.plan(workshop.load(CASE)).steps
        liquid = next(at for at, step in enumerate(steps) if "detergent" in step.name)
        assert "hidden test spot" in [step.name for step in steps[:liquid]]

        # 4. Damage holds the case until a written reason releases it.
        await driver.press("d", on=RecordedScreen)
        assert "HELD" in driver.text
        await driver.press("enter")
        await driver.until(lambda: driver.screen.plan.held, "held")
        assert driver.screen.plan.steps == ()
        await driver.press("ctrl+r")
        await driver.write("a hair was loose before", "enter")
        await driver.until(lambda: not driver.screen.plan.held, "released")
        assert workshop.load(CASE).releases[0].reason == "a hair was loose before"

        # 5. Back to the animal: a zone, a question, cannot tell, why.
        await driver.press("l", on=ObserveScreen)
        await driver.press("4", on=QuestionScreen)
        assert "cannot tell" in driver.text
        await driver.press("e", on=DetailScreen)
        assert "Why this is asked" in driver.text
        assert "How to find out" in driver.text
        await driver.press("q", "u", "q", "q")

        # 6. Ask the plan.
        await driver.on(PlanScreen)
        await driver.press("e", on=ChoiceScreen)
        for asked in ("why does this step", "why not another", "would change", "what if", "asking"):
            assert asked in driver.text
