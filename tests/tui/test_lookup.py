"""The handbook and the palette: all entries reached, names in words, stop before everything."""

from __future__ import annotations

from tests.tui.driving import driven
from triage.case.profile import load_bench
from triage.service.workshop import Workshop
from triage.show.entry import shelves
from triage.tui.screens.handbook import PAGE_ROWS, HandbookScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.windows import StopScreen

CASE = "bumblebee-plate-3"


async def test_every_entry_is_reached_though_few_are_laid_out_at_first(looking: Workshop) -> None:
    async with driven(looking, case=CASE) as driver:
        await driver.press("h", on=HandbookScreen)
        every = sum(len(shelf.entries) for shelf in shelves(looking.knowledge))
        listed = driver.screen.query_one("#rows")
        assert listed.option_count == PAGE_ROWS < every
        for _ in range(PAGE_ROWS):
            await driver.press("down")
        assert listed.highlighted == PAGE_ROWS
        assert listed.option_count > PAGE_ROWS
        await driver.press("end")
        assert listed.option_count == every
        assert listed.highlighted == every - 1


async def test_a_search_finds_what_is_not_laid_out(looking: Workshop) -> None:
    last = shelves(looking.knowledge)[-1].entries[-1]
    async with driven(looking, case=CASE) as driver:
        await driver.press("h", "slash")
        assert not driver.screen.check_action("filter", ())
        await driver.write(last.id.replace("-", " ").split()[0])
        ids = [o.id for o in driver.screen.query_one("#rows").options]
        found = [*ids, *(row.id for row in driver.screen._waiting)]
        assert any(key.endswith(f"/{last.id}") for key in found)


def test_other_entries_are_called_by_their_names(looking: Workshop) -> None:
    deposits = looking.knowledge.deposits
    shelf = next(shelf for shelf in shelves(looking.knowledge) if shelf.kind == "deposit")
    said = 0
    for entry in shelf.entries:
        confused = {name: text for _, name, text in entry.lines}.get("confused with")
        if confused is not None:
            said += 1
            for other in deposits[entry.id].confused_with:
                assert deposits[other].name in confused
    assert said > 5


async def test_stop_comes_before_the_palette(looking: Workshop) -> None:
    async with driven(looking, case=CASE) as driver:
        await driver.press("ctrl+p")
        await driver.press("escape", on=StopScreen)
        await driver.press("q", on=PlanScreen)


async def test_the_palette_has_one_command_of_each_name(looking: Workshop) -> None:
    async with driven(looking, case=CASE) as driver:
        titles = [command.title for command in driver.app.get_system_commands(driver.screen)]
        assert len(titles) == len(set(titles))
        assert "Maximize" not in titles
        assert "Keys" not in titles


def test_a_deposit_is_read_in_reasons_without_patterns(looking: Workshop) -> None:
    """Its signs with their weights and reasons, its ladder by the names of the methods."""
    knowledge = looking.knowledge
    shelf = next(shelf for shelf in shelves(knowledge) if shelf.kind == "deposit")
    for entry in shelf.entries:
        text = "\n".join(said for _, _, said in entry.lines)
        for sign, weight in knowledge.deposits[entry.id].signs.items():
            because = weight.because or knowledge.rule(f"recognise-{sign}").because
            assert f"{weight.weight:+g} {because}" in text
        for part in knowledge.deposits[entry.id].ladder:
            assert all(knowledge.methods[method].name in text for method in part.method)
        assert not {"$f", "expect", "standing"} & set(text.replace("'", " ").split())


async def test_a_bottle_is_found_by_its_words_and_what_is_left_in_it_is_written(
    workshop: Workshop,
) -> None:
    before = {bottle.agent: bottle for bottle in workshop.bench.stock}
    async with driven(workshop, case=CASE) as driver:
        await driver.press("o", "slash")
        await driver.write("ethanol no methanol")
        rows = driver.screen.query_one("#rows").options
        assert [row.id.split("/")[0] for row in rows] == ["stock"]
        await driver.press("down", "enter", "down", *["backspace"] * 6)
        await driver.write("470", "enter")
        await driver.until(lambda: "470 mL" in driver.text, "not written")
        await driver.press("f9")  # out of the line: all rows again
        driver.screen.query_one("#rows").highlighted = next(
            at
            for at, row in enumerate(driver.screen.query_one("#rows").options)
            if row.id == "stock/new"
        )
        await driver.press("enter", "1")
        await driver.write("80")
        await driver.press("down", "down")
        await driver.write("from the cellar", "enter")
    kept = load_bench(workshop.bench_path).stock
    ethanol = next(bottle for bottle in kept if bottle.agent == "ethanol")
    assert ethanol == before["ethanol"].model_copy(update={"ml": 470.0})
    assert (kept[-1].strength, kept[-1].ml, kept[-1].label) == (80, None, "from the cellar")
    assert kept[-1].agent == next(iter(workshop.knowledge.agents))
