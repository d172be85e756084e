"""A case file that somebody else edits while it is open is shown as it is now; nothing is lost."""

from __future__ import annotations

from tests.tui.driving import driven
from tests.tui.places import CASE
from triage.service.workshop import Workshop
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.walk import WalkScreen


async def test_the_plan_follows_the_file(workshop: Workshop) -> None:
    path = workshop.cases / f"{CASE}.yaml"
    good = path.read_text(encoding="utf-8")
    async with driven(workshop, case=CASE) as driver:
        await driver.on(PlanScreen)
        path.write_text(
            good.replace("title: Bumblebee worker", "title: Renamed worker"), encoding="utf-8"
        )
        await driver.until(lambda: "Renamed worker" in driver.text, "title of the file")
        assert "changed outside" in driver.text

        # Broken: said in words with the line; what is shown stays; the file is left alone.
        path.write_text("format: 1\nid: [\n", encoding="utf-8")
        await driver.until(lambda: "cannot be read any more" in driver.text, "fault")
        assert "blot oil with paper" in driver.text
        assert path.read_text(encoding="utf-8") == "format: 1\nid: [\n"
        path.write_text(good, encoding="utf-8")
        await driver.until(lambda: "cannot be read" not in driver.text, "mended")
        assert "Bumblebee worker" in driver.text


async def test_a_step_that_still_stands_is_gone_on_with_and_the_record_keeps_both(
    workshop: Workshop,
) -> None:
    async with driven(workshop, case=CASE) as driver:
        await driver.press("s", on=WalkScreen)
        step = driver.screen.step
        workshop.accept(CASE, "f2", "too little to matter")
        await driver.until(lambda: "changed outside" in driver.text, "note")
        assert driver.screen.step.id == step.id
        await driver.press("n")
        case = workshop.load(CASE)
        assert case.attempts[0].step == step.id
        assert case.finding("f2").accepted


async def test_a_step_that_stands_no_more_is_replaced_by_the_next(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        await driver.press("s", on=WalkScreen)
        old = driver.screen.step.id
        workshop.accept(CASE, driver.screen.step.finding, "leave it")
        await driver.until(lambda: driver.screen.step.id != old, "next step")
        assert driver.screen.step == workshop.plan(workshop.load(CASE)).next_step()


async def test_a_file_that_is_gone_is_said(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        (workshop.cases / f"{CASE}.yaml").unlink()
        await driver.until(lambda: "cannot be read any more" in driver.text, "fault")
        assert "blot oil with paper" in driver.text
