"""The whole job with keys only, on the real knowledge and real files."""

from __future__ import annotations

from pathlib import Path

from tests.tui.conftest import Opened
from tests.tui.driving import Driver, driven
from triage.service.workshop import Workshop
from triage.tui.screens.cases import CasesScreen
from triage.tui.screens.form import FormScreen
from triage.tui.screens.observe import IntakeScreen, ObserveScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.questions import QuestionScreen
from triage.tui.screens.walk import WalkScreen
from triage.tui.screens.windows import ChoiceScreen

INTAKE = {
    "photographed-before": "yes",
    "aim": "another-pose",
    "arrival": "fresh",
    "worth-it": "yes",
    "whole": "whole",
    "age": "since-1990",
    "lacquered": "no",
    "old-poison-signs": "no",
    "live-pest-signs": "no",
    "mouldy-smell": "no",
    "size": "large",
    "cracks": "none",
    "missing-parts": "none",
    "pest-holes": "none",
    "pin": "steel-stainless",
    "hydration": "supple",
    "joints-stuck": "none",
}
OILY = {
    "sheen": "wet-gloss",
    "colour": "brown-black",
    "texture": "smooth-film",
    "setae": "points",
    "smell": "none",
    "where-on-body": "hair-brushes",
    "wash-before": "no",
    "box-too": "no",
    "living-shape": "neither",
    "dry-brush": "smears",
    "blotter": "oil-spot",
    "water-drop": "beads",
    "ethanol-drop": "clears",
}


async def answer_all(driver: Driver, known: dict[str, str]) -> list[str]:
    """Answer what is asked by one key each; what is not known with u."""
    asked = []
    while (question := driver.screen.question) is not None and len(asked) < 40:
        asked.append(question.question)
        if question.question in known:
            await driver.answer(question.question, known[question.question])
        else:
            await driver.press("u")
    return asked


async def record(driver: Driver, key: str) -> None:
    """Make the step ready and record an outcome with one key."""
    await driver.until(lambda: isinstance(driver.screen, WalkScreen | ChoiceScreen))
    if isinstance(driver.screen, ChoiceScreen):
        assert "Not looked at yet" in driver.text
        await driver.press("2")
    await driver.on(WalkScreen)
    walk = driver.screen
    if walk.panel == "ready":
        while not walk.query_one("#checklist").is_ready:
            ticked = len(walk.query_one("#checklist").lines)
            await driver.press(*(str(number) for number in range(1, ticked + 1)))
        await driver.press("enter")
    if walk.panel == "hold":
        await driver.write("no change of colour at the test spot", "enter")
    assert walk.panel == "work"
    await driver.record(key)


async def test_from_a_new_case_to_the_closed_box(tmp_path: Path, opened_on: Opened) -> None:
    workshop = opened_on(tmp_path / "cases")
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        assert "No case here yet" in driver.text

        # A new case in under five keys: +, Enter, Enter begin one of unknown kind.
        await driver.press("plus", on=ChoiceScreen)
        await driver.press(*["down"] * 4, "enter", "enter", on=IntakeScreen)
        case_id = driver.screen.case_id
        assert workshop.load(case_id).taxon == "bees-wasps"

        await driver.press("r", "enter", on=ObserveScreen)
        seen = workshop.load(case_id).answers
        assert {"whole", "lacquered", "cracks", "pest-holes"} <= set(seen)
        assert all(INTAKE[question] == answer for question, answer in seen.items())

        await driver.press("H", on=QuestionScreen)
        await answer_all(driver, OILY)
        finding = workshop.load(case_id).findings[0]
        assert finding.zone == "thorax-hairy"
        assert finding.signs
        assert set(finding.signs.items()) <= set(OILY.items())
        reading = workshop.plan(workshop.load(case_id)).findings[0]
        assert reading.deposit == "oily-film"
        assert reading.deposit_name.split()[0] in driver.text
        await driver.press("q")

        # What it is decides what else has to be known.
        await driver.on(ObserveScreen)
        assert workshop.plan(workshop.load(case_id)).next_step() is not None
        await driver.press("W", on=QuestionScreen)
        # What stings in no bee is not asked of one.
        assert "urticating-hairs" not in await answer_all(driver, INTAKE)
        await driver.press("q", "q")

        # Three attempts, the plan changes after each.
        await driver.on(PlanScreen)
        await driver.press("s")
        await record(driver, "n")
        await driver.press("enter")
        await record(driver, "b")
        await driver.press("enter")
        await record(driver, "d")
        case = workshop.load(case_id)
        assert [attempt.outcome for attempt in case.attempts] == ["no-change", "better", "damage"]
        assert "THE CASE IS HELD" in driver.text

        # Held: no step opens; only a written reason releases it.
        await driver.press("enter", on=PlanScreen)
        assert workshop.plan(case).steps == ()
        await driver.press("s")
        assert isinstance(driver.screen, PlanScreen)
        assert "held" in driver.screen.query_one("#fault").text
        await driver.press("ctrl+r", on=FormScreen)
        await driver.press("enter", "enter", "enter")
        assert isinstance(driver.screen, FormScreen)
        assert workshop.load(case_id).releases == ()
        await driver.write("one loose hair, photographed", "enter", on=PlanScreen)
        assert workshop.load(case_id).releases[0].reason == "one loose hair, photographed"

        await to_the_keeping(driver, workshop, case_id)


async def to_the_keeping(driver: Driver, workshop: Workshop, case_id: str) -> None:
    """Clear each step that is offered until the stage is keep."""
    for _ in range(30):
        plan = workshop.plan(workshop.load(case_id))
        if plan.stage == "keep":
            break
        step = plan.next_step()
        if step is None:
            await driver.press("l", on=ObserveScreen)
            await driver.press("W", on=QuestionScreen)
            await answer_all(driver, INTAKE)
            await driver.press("q", "q", on=PlanScreen)
            continue
        await driver.press("s")
        await record(driver, "c")
        await driver.press("q", on=PlanScreen)
    assert plan.stage == "keep"
    assert "keep" in driver.text


async def test_undo_is_an_appended_correction_with_a_reason(workshop: Workshop) -> None:
    async with driven(workshop, case="bumblebee-plate-3") as driver:
        await driver.on(PlanScreen)
        await driver.press("s")
        await record(driver, "n")
        await driver.press("z", on=FormScreen)
        await driver.write("wrong key", "enter", on=WalkScreen)
        first, second = workshop.load("bumblebee-plate-3").attempts
        assert first.outcome == "no-change"
        assert second.corrects == first.id
        assert second.note == "wrong key"
