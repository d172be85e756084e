"""Every question to the plan is two keys away, every entry of the handbook is reached by words."""

import re

from tests.tui.driving import CASE, Driver, driven
from tests.tui.places import home
from triage.case.profile import load_bench
from triage.plan.names import finding_names
from triage.service.workshop import Workshop
from triage.show.blocks import lines_of
from triage.show.entry import shelves
from triage.show.reasons import change_lines, what_if_lines
from triage.show.words import named
from triage.tui.screens.handbook import PAGE_ROWS

ANSWERED = {"1": "Why it stands here", "4": "How it is read: hairy thorax", "5": "What would change",
            "7": "Worth asking", "8": "How firm", "9": "What does not agree", "0": "Make ready",
            "21": "", "31": "", "611": "", "621": ""}  # fmt: skip


async def test_two_keys_to_every_answer_and_nothing_is_recorded(looker: Driver) -> None:
    """From the plan and from the step; things are called by their names, rules stand in brackets.

    No id of a finding, a step, a method or a deposit is told.
    """
    path = looker.workshop.path_of(CASE)
    before, ids = path.read_bytes(), ids_of(looker.workshop)
    for start in ((), ("s",)):
        await home(looker)
        await looker.press(*start)
        for keys, title in ANSWERED.items():
            await looker.press("e", keys[0], on="choice" if keys[1:] else "detail")
            for key in keys[1:]:
                assert not ids.search(looker.text), looker.text
                await looker.press(key)
            await looker.on("detail")
            assert title in looker.text, (start, keys)
            told = bare(f"{looker.screen._title} {looker.screen.plain}")
            assert not ids.search(told), (keys, ids.findall(told), told)
            await looker.press("q")
    assert path.read_bytes() == before


async def test_the_answers_are_those_of_the_desk(looker: Driver) -> None:
    shop, case = looker.workshop, looker.case
    await looker.press("e", "5")
    lines = [line.strip().removeprefix("- ") for line in looker.screen.plain.splitlines()]
    plan = shop.plan(case)
    changes = change_lines(shop.desk.changes(case), shop.knowledge, plan)
    wanted = " ".join(" ".join(line.text for line in changes).split())
    assert " ".join(" ".join(lines).split()) == wanted
    await looker.press("q", "e", "9")
    for found in shop.desk.trail(case).contradictions():
        assert named(found.sentence, finding_names(plan)) in looker.screen.plain
    await looker.press("q")
    assert looker.at("plan")


async def test_what_if_shows_the_other_plan(looking: Workshop) -> None:
    """Dry instead of supple: the first step is one that softens."""
    then = looking.desk.what_if(looking.load(CASE), {"hydration": "dry"}).then
    step = then.next_step()
    assert step is not None
    async with driven(looking, case=CASE, size=(100, 60)) as driver:
        await driver.press("e", "6")
        for choice in ("hydration", "dry"):
            driver.screen.query_one("#choices").highlighted = driver.choices.index(choice)
            await driver.press("enter")
        assert f"as it would be: {then.stage}: {step.name}" in driver.screen.plain


def bare(text: str) -> str:
    return re.sub(r"\[[^\]]*\]", "", text)


def ids_of(workshop: Workshop) -> re.Pattern[str]:
    """Return a pattern of every id that a user need not know: findings, steps, methods."""
    case = workshop.load(CASE)
    ids = {line.id for line in case.findings} | {step.id for step in workshop.plan(case).steps}
    knowledge = workshop.knowledge
    ids |= {each for each in (*knowledge.methods, *knowledge.deposits) if "-" in each}
    return re.compile("|".join(rf"(?<![\w-]){re.escape(each)}(?![\w-])" for each in sorted(ids)))


def test_the_command_says_what_if_in_names(looking: Workshop) -> None:
    found = looking.desk.what_if(looking.load(CASE), {"sheen": "even-gloss-all-over"}, "f1")
    told = bare("\n".join(lines_of(what_if_lines(found))))
    assert not ids_of(looking).search(told)
    assert "notice: leave it" in told
    assert "blot oil with paper, hairy thorax" in told


def test_a_word_spelt_like_an_id_stays() -> None:
    names = {"eye": "compound eye, left", "f1": "hairy thorax"}
    told = named("f1: The eye is dull (f1).", names)
    assert told == "hairy thorax: The eye is dull (hairy thorax)."
    told = named("step 1: puff of air on eye, rung 1", names)
    assert told.endswith("on compound eye, left, rung 1")
    assert named("nothing", {}) == "nothing"


# -- the handbook and the bench -------------------------------------------------------------------


async def test_every_entry_is_reached_though_few_are_laid_out_at_first(looker: Driver) -> None:
    """By keys, and by a search that finds what is not laid out."""
    every = [entry for shelf in shelves(looker.workshop.knowledge) for entry in shelf.entries]
    await looker.press("h", on="handbook")
    listed = looker.screen.query_one("#rows")
    assert listed.option_count == PAGE_ROWS < len(every)
    await looker.press(*["down"] * PAGE_ROWS)
    assert listed.highlighted == PAGE_ROWS
    assert listed.option_count > PAGE_ROWS
    await looker.press("end")
    assert listed.option_count == len(every)
    assert listed.highlighted == len(every) - 1
    last = every[-1].id
    await looker.press("q", "h", "slash")
    assert not looker.screen.check_action("filter", ())
    await looker.write(last.replace("-", " ").split()[0])
    found = [*looker.rows, *(row.id for row in looker.screen._waiting)]
    assert any(key.endswith(f"/{last}") for key in found)


def test_a_deposit_is_read_in_names_and_reasons_without_patterns(looking: Workshop) -> None:
    """Its signs with their weights and reasons, its ladder by the names of the methods."""
    knowledge, said = looking.knowledge, 0
    shelf = next(shelf for shelf in shelves(knowledge) if shelf.kind == "deposit")
    for entry in shelf.entries:
        deposit = knowledge.deposits[entry.id]
        text = "\n".join(told for _, _, told in entry.lines)
        for sign, weight in deposit.signs.items():
            because = weight.because or knowledge.rule(f"recognise-{sign}").because
            assert f"{weight.weight:+g} {because}" in text
        for part in deposit.ladder:
            assert all(knowledge.methods[method].name in text for method in part.method)
        assert not {"$f", "expect", "standing"} & set(text.replace("'", " ").split())
        confused = {name: told for _, name, told in entry.lines}.get("confused with")
        if confused is not None:
            said += 1
            for other in deposit.confused_with:
                assert knowledge.deposits[other].name in confused
    assert said > 5


async def test_a_bottle_is_found_by_its_words_and_what_is_left_in_it_is_written(
    driver: Driver,
) -> None:
    before = {bottle.agent: bottle for bottle in driver.workshop.bench.stock}
    await driver.press("o", "slash")
    await driver.write("ethanol no methanol")
    assert [row.split("/")[0] for row in driver.rows] == ["stock"]
    await driver.press("down", "enter", "down", *["backspace"] * 6)
    await driver.write("470", "enter")
    await driver.until(lambda: "470 mL" in driver.text, "not written")
    await driver.press("f9")  # out of the line: all rows again
    await driver.to_row("stock/new")
    await driver.press("enter", "1")
    await driver.write("80", "down", "down")
    await driver.write("from the cellar", "enter")
    kept = load_bench(driver.workshop.bench_path).stock
    ethanol = next(bottle for bottle in kept if bottle.agent == "ethanol")
    assert ethanol == before["ethanol"].model_copy(update={"ml": 470.0})
    assert (kept[-1].strength, kept[-1].ml, kept[-1].label) == (80, None, "from the cellar")
    assert kept[-1].agent == next(iter(driver.workshop.knowledge.agents))
