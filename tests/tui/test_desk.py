"""Every question to the plan is two keys away, on the plan and at the step; nothing is recorded."""

from __future__ import annotations

import re

from tests.tui.driving import driven
from tests.tui.places import CASE, home
from triage.plan.names import finding_names
from triage.service.workshop import Workshop
from triage.show.blocks import lines_of
from triage.show.reasons import change_lines, what_if_lines
from triage.show.words import named
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.windows import ChoiceScreen, DetailScreen

ANSWERED = {"1": "Why it stands here", "4": "How it is read: hairy thorax", "5": "What would change",
            "7": "Worth asking", "8": "How firm", "9": "What does not agree", "0": "Make ready"}  # fmt: skip


async def test_two_keys_to_every_answer_from_the_plan_and_from_the_step(looking: Workshop) -> None:
    before = (looking.cases / f"{CASE}.yaml").read_bytes()
    async with driven(looking, case=CASE) as driver:
        for start, desk in (((), "e"), (("s",), "e")):
            await home(driver)
            await driver.press(*start)
            for key, title in ANSWERED.items():
                await driver.press(desk, key, on=DetailScreen)
                assert title in driver.text, (start, key)
                await driver.press("q")
            for key in "236":
                await driver.press(desk, key, on=ChoiceScreen)
                await driver.press("1")
                if key == "6":
                    await driver.press("1")
                await driver.on(DetailScreen)
                await driver.press("q")
    assert (looking.cases / f"{CASE}.yaml").read_bytes() == before


async def test_the_answers_are_those_of_the_desk(looking: Workshop) -> None:
    case = looking.load(CASE)
    async with driven(looking, case=CASE) as driver:
        await driver.press("e", "5")
        lines = [line.strip().removeprefix("- ") for line in driver.screen.plain.splitlines()]
        shown = " ".join(" ".join(lines).split())
        plan = looking.plan(case)
        places = finding_names(plan)
        changes = change_lines(looking.desk.changes(case), looking.knowledge, plan)
        assert shown == " ".join(" ".join(line.text for line in changes).split())
        await driver.press("q", "e", "9")
        for found in looking.desk.trail(case).contradictions():
            assert named(found.sentence, places) in driver.screen.plain
        await driver.press("q")
        assert isinstance(driver.screen, PlanScreen)


async def test_what_if_shows_the_other_plan(looking: Workshop) -> None:
    """Dry instead of supple: the first step is one that softens."""
    case = looking.load(CASE)
    then = looking.desk.what_if(case, {"hydration": "dry"}).then
    step = then.next_step()
    assert step is not None
    async with driven(looking, case=CASE, size=(100, 60)) as driver:
        await driver.press("e", "6")
        names = [each for each, _ in driver.screen._choices]
        driver.screen.query_one("#choices").highlighted = names.index("hydration")
        await driver.press("enter")
        answers = [each for each, _ in driver.screen._choices]
        driver.screen.query_one("#choices").highlighted = answers.index("dry")
        await driver.press("enter")
        assert f"as it would be: {then.stage}: {step.name}" in driver.screen.plain


def ids_of(workshop: Workshop) -> re.Pattern[str]:
    """Return a pattern of every id that a user need not know: findings, steps, methods."""
    case = workshop.load(CASE)
    ids = {line.id for line in case.findings} | {step.id for step in workshop.plan(case).steps}
    ids |= {method for method in workshop.knowledge.methods if "-" in method}
    ids |= {deposit for deposit in workshop.knowledge.deposits if "-" in deposit}
    return re.compile("|".join(rf"(?<![\w-]){re.escape(each)}(?![\w-])" for each in sorted(ids)))


async def test_the_desk_calls_things_by_their_names(looking: Workshop) -> None:
    """No id of a finding, a step, a method or a deposit; rules stand in brackets, as sources do."""
    ids = ids_of(looking)

    def bare(text: str) -> str:
        return re.sub(r"\[[^\]]*\]", "", text)

    async with driven(looking, case=CASE) as driver:
        for keys in ("1", "4", "5", "7", "8", "9", "0", "21", "31", "61", "62"):
            await driver.press("e", *keys)
            if keys[0] == "6":
                assert not ids.search(driver.text), driver.text
                await driver.press("1")
            await driver.on(DetailScreen)
            told = bare(f"{driver.screen._title} {driver.screen.plain}")
            assert not ids.search(told), (keys, ids.findall(told), told)
            await driver.press("q")


def test_the_command_says_what_if_in_names(looking: Workshop) -> None:
    found = looking.desk.what_if(looking.load(CASE), {"sheen": "even-gloss-all-over"}, "f1")
    told = re.sub(r"\[[^\]]*\]", "", "\n".join(lines_of(what_if_lines(found))))
    assert not ids_of(looking).search(told)
    assert "notice: leave it" in told
    assert "blot oil with paper, hairy thorax" in told


def test_a_word_spelt_like_an_id_stays(looking: Workshop) -> None:
    names = {"eye": "compound eye, left", "f1": "hairy thorax"}
    assert (
        named("f1: The eye is dull (f1).", names) == "hairy thorax: The eye is dull (hairy thorax)."
    )
    assert named("step 1: puff of air on eye, rung 1", names).endswith(
        "on compound eye, left, rung 1"
    )
    assert named("nothing", {}) == "nothing"
