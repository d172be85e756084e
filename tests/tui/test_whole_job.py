"""The whole job with keys only, on the real knowledge and real files; the walk of the README."""

import os
import re
from pathlib import Path

from tests.support.builders import OILY as GREASE
from tests.support.intake import SOUND
from tests.tui.conftest import ROOT, Opened
from tests.tui.driving import CASE, NOON, Driver, driven
from triage.service.workshop import Workshop

README = (ROOT / "README.md").read_text(encoding="utf-8")
WALK = README.partition("## Five minutes")[2].partition("```")[0]
INTAKE = {**SOUND, "arrival": "fresh", "pin": "steel-stainless"}
OILY = {
    **GREASE,
    "colour": "brown-black",
    "texture": "smooth-film",
    "smell": "none",
    "where-on-body": "hair-brushes",
    "wash-before": "no",
    "box-too": "no",
    "living-shape": "neither",
    "dry-brush": "smears",
    "water-drop": "beads",
    "ethanol-drop": "clears",
}
# What a wet, greasy spot in brown hair shows to who only looks at it.
GREASY = {name: OILY[name] for name in ("sheen", "setae", "colour", "smell")}


async def record(driver: Driver, key: str) -> None:
    """Make the step ready and record an outcome with one key."""
    await driver.until(lambda: driver.at("walk", "choice"))
    if driver.at("choice"):
        assert "Not looked at yet" in driver.text
        await driver.press("2")
    await driver.on("walk")
    await driver.make_ready("no change of colour at the test spot")
    await driver.record(key)


async def test_from_a_new_case_to_the_closed_box(tmp_path: Path, opened_on: Opened) -> None:
    workshop = opened_on(tmp_path / "cases")
    async with driven(workshop) as driver:
        await driver.on("cases")
        assert "No case here yet" in driver.text

        # A new case in under five keys: +, Enter, Enter begin one of unknown kind.
        await driver.press("plus", on="choice")
        await driver.press(*["down"] * 4, "enter", "enter", on="intake")
        driver.case_id = driver.screen.case_id
        assert driver.case.taxon == "bees-wasps"

        await driver.press("r", "enter", on="observe")
        seen = driver.case.answers
        assert {"whole", "lacquered", "cracks", "pest-holes"} <= set(seen)
        assert all(INTAKE[question] == answer for question, answer in seen.items())

        await driver.press("H", on="question")
        await driver.answer_all(OILY)
        finding = driver.case.findings[0]
        assert finding.zone == "thorax-hairy"
        assert finding.signs
        assert set(finding.signs.items()) <= set(OILY.items())
        reading = workshop.plan(driver.case).findings[0]
        assert reading.deposit == "oily-film"
        assert reading.deposit_name.split()[0] in driver.text
        await driver.press("q")

        # What it is decides what else has to be known.
        await driver.on("observe")
        assert workshop.plan(driver.case).next_step() is not None
        await driver.press("W", on="question")
        # What stings in no bee is not asked of one.
        assert "urticating-hairs" not in await driver.answer_all(INTAKE)
        await driver.press("q", "q")

        # Three attempts, the plan changes after each.
        await driver.on("plan")
        await driver.press("s")
        await record(driver, "n")
        await driver.press("enter")
        await record(driver, "b")
        await driver.press("enter")
        await record(driver, "d")
        case = driver.case
        assert [attempt.outcome for attempt in case.attempts] == ["no-change", "better", "damage"]
        assert "THE CASE IS HELD" in driver.text

        # Held: no step opens; only a written reason releases it.
        await driver.press("enter", on="plan")
        assert workshop.plan(case).steps == ()
        await driver.press("s")
        assert driver.at("plan")
        assert "held" in driver.fault
        await driver.press("ctrl+r", on="form")
        await driver.press("enter", "enter", "enter")
        assert driver.at("form")
        assert driver.case.releases == ()
        await driver.write("one loose hair, photographed", "enter", on="plan")
        assert driver.case.releases[0].reason == "one loose hair, photographed"

        await to_the_keeping(driver)


async def to_the_keeping(driver: Driver) -> None:
    """Clear each step that is offered until the stage is keep."""
    for _ in range(30):
        plan = driver.workshop.plan(driver.case)
        if plan.stage == "keep":
            break
        if plan.next_step() is None:
            await driver.press("l", "W", on="question")
            await driver.answer_all(INTAKE)
            await driver.press("q", "q", on="plan")
            continue
        await driver.press("s")
        await record(driver, "c")
        await driver.press("q", on="plan")
    assert plan.stage == "keep"
    assert "keep" in driver.text


# -- the README -----------------------------------------------------------------------------------


def test_the_case_and_the_keys_are_those_of_the_readme() -> None:
    assert f"--demo {CASE}" in README
    assert re.findall(r"`(\w)`", WALK) == ["s", "t", "n", "d", "l", "e"]


async def test_from_the_list_to_the_first_record_in_four_keys(workshop: Workshop) -> None:
    """Enter, start, outcome: the demo's first case that has a step to do now."""
    # The list is the newest first: also a case with nothing to do must not stand in the way.
    os.utime(workshop.cases / "stag-beetle-cupboard.yaml", (2e9, 2e9))
    async with driven(workshop) as driver:
        await driver.on("cases")
        keys = ["down", "enter", "s", "b"]
        await driver.press(*keys, on="recorded")
        cases = [workshop.load(each.id) for each in workshop.list_cases()]
        assert sum(case.attempts != () and case.attempts[-1].at == NOON for case in cases) == 1
        assert len(keys) <= 4


async def test_from_a_new_specimen_to_its_first_step_in_fourteen_keys(workshop: Workshop) -> None:
    """A bee with one greasy zone: its group, the first look, the zone, what is seen, the step."""
    async with driven(workshop) as driver:
        await driver.press("plus", "5", "enter", on="intake")
        driver.case_id = driver.screen.case_id
        assert driver.case.taxon == "bees-wasps"
        # The signs of an old poison stand on the screen that asks for them.
        assert "poison label, silver beads" in driver.words
        await driver.press("r", "enter", on="observe")
        assert driver.case.answers["old-poison-signs"] == "no"
        await driver.press("H", on="question")
        answered = await driver.answer_all(GREASY)
        assert driver.case.findings[0].named is None
        await driver.press("1", on="walk")
        assert driver.screen.step.deposit == "oily-film"
        assert 3 + 2 + 1 + len(answered) + 1 <= 14


async def test_what_was_not_looked_at_is_not_recorded(workshop: Workshop) -> None:
    """Each line has its key, the usual answer comes first; leaving records nothing."""
    case = workshop.new("bee", "bees-wasps").id
    async with driven(workshop, case=case) as driver:
        await driver.press("l", "W", on="intake")
        asked = [question.id for question in driver.screen.questions]
        await driver.press("enter")
        assert "nothing is answered yet" in driver.text
        whole, poison = (str(asked.index(q) + 1) for q in ("whole", "old-poison-signs"))
        await driver.press(whole, whole, poison, "q")
        assert driver.case.answers == {}
        await driver.press("W", whole, whole, poison, "enter")
        assert driver.case.answers == {"whole": "parts-loose", "old-poison-signs": "no"}


async def test_before_a_jar_that_may_explode_is_handled_one_question_stands_alone(
    workshop: Workshop,
) -> None:
    case = workshop.new("larva", "soft-bodied").id
    workshop.answer_all(case, None, {"arrival": "in-fluid", "fluid": "bouin"})
    async with driven(workshop, case=case) as driver:
        await driver.press("l", "W", on="question")
        assert driver.screen.question.question == "lid-crust"
        await driver.press("2", "q", "W", on="intake")


async def test_the_five_minutes(driver: Driver) -> None:
    # 1. Three findings; the greasy thorax first.
    assert len(driver.screen.plan.findings) == 3
    assert "> NOW" in driver.text.splitlines()[1]
    assert "> NOW        blot oil with paper" in driver.text

    # 2. One step fills the screen; the timer's end stands in the case file.
    await driver.press("s", on="walk")
    for said in ("Lay a paper point", "start 60 s", "STOP (Esc) if you see", "cleared"):
        assert said in driver.text
    await driver.press("t")
    assert driver.case.timers

    # 3. No change; after the last pass warm blotting, which is a hold point.
    for number in range(1, 4):
        await driver.press("n", on="recorded")
        assert len(driver.case.attempts) == number
        await driver.press("enter", on="walk")
    assert driver.screen.step.name == "blot with gentle warmth"
    assert driver.screen.panel == "hold"
    await driver.press("enter", "enter")
    assert driver.screen.panel == "hold"
    await driver.make_ready("paper stays dry")
    steps = driver.workshop.plan(driver.case).steps
    liquid = next(at for at, step in enumerate(steps) if "detergent" in step.name)
    assert "hidden test spot" in [step.name for step in steps[:liquid]]

    # 4. Damage holds the case until a written reason releases it.
    await driver.press("d", on="recorded")
    assert "HELD" in driver.text
    await driver.press("enter")
    await driver.until(lambda: driver.screen.plan.held, "held")
    assert driver.screen.plan.steps == ()
    await driver.press("ctrl+r")
    await driver.write("a hair was loose before", "enter")
    await driver.until(lambda: not driver.screen.plan.held, "released")
    assert driver.case.releases[0].reason == "a hair was loose before"

    # 5. Back to the animal: a zone, a question, cannot tell, why.
    await driver.press("l", on="observe")
    await driver.press("4", on="question")
    assert "cannot tell" in driver.text
    await driver.press("e", on="detail")
    assert "Why this is asked" in driver.text
    assert "How to find out" in driver.text
    await driver.press("q", "u", "q", "q")

    # 6. Ask the plan.
    await driver.on("plan")
    await driver.press("e", on="choice")
    for asked in ("why does this step", "why not another", "would change", "what if", "asking"):
        assert asked in driver.text
