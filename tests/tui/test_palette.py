"""Whatever the program can do, and whatever has a name in it, is found by a few letters."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.tui.driving import Driver, driven, next_step
from triage import cli
from triage.cli import build_parser, commands
from triage.commands import sheet
from triage.service.commandline import NOT_INSIDE, CommandLine
from triage.service.workshop import Workshop
from triage.tui.palette import Palette, acts_of, commands_of, named_things
from triage.tui.screens.form import FormScreen
from triage.tui.screens.observe import ObserveScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.windows import DetailScreen

CASE = "bumblebee-plate-3"


@asynccontextmanager
async def opened(workshop: Workshop) -> AsyncIterator[Driver]:
    async with driven(workshop, case=CASE) as driver:
        driver.app.inside = CommandLine(lambda: build_parser().by_name, cli.run)
        yield driver


async def found(driver: Driver, words: str) -> None:
    """Open the palette, write some letters, take the first thing that has them."""
    await driver.press("ctrl+p", on=Palette)
    await driver.write(words)
    palette = driver.screen
    await driver.until(
        lambda: palette._list_visible and palette.query("CommandList").first().option_count, words
    )
    await driver.press("enter")
    if driver.screen is palette:
        await driver.press("enter")


async def test_every_command_is_offered_but_what_belongs_in_a_shell(workshop: Workshop) -> None:
    """``serve`` is this interface for a browser, ``completion`` a script for the shell.

    ``bench`` asks line by line; its screen does here.
    """
    assert {"serve", "completion", "bench"} == NOT_INSIDE
    async with opened(workshop) as driver:
        offered = {each.title.split(":")[0] for each in commands_of(driver.app, driver.screen)}
        assert offered == set(commands()) - NOT_INSIDE


async def test_every_act_of_a_screen_is_offered_but_what_records(workshop: Workshop) -> None:
    async with opened(workshop) as driver:
        titles = {each.title for each in acts_of(driver.screen)}
        assert {
            "Start",
            "Look",
            "Why",
            "Air",
            "Photos",
            "Bench",
            "Handbook",
        } <= titles
        await driver.press("s")
        assert not {t for t in (each.title for each in acts_of(driver.screen)) if "Record" in t}
        await driver.press("q")
        await found(driver, "Look")
        await driver.on(ObserveScreen)


async def test_cases_steps_bottles_agents_and_words_of_notes_are_found(workshop: Workshop) -> None:
    step = next_step(workshop, CASE)
    workshop.record("skimmer-plate-8", "f2-puff-air", "better", note="a grey hair stays")
    async with opened(workshop) as driver:
        things = list(named_things(driver.app, driver.screen))
        texts = [f"{each.help}: {each.title}" for each in things]
        for line in workshop.list_cases():
            assert f"a case: {line.title} ({line.id})" in texts
        assert any(t.startswith(f"a step: {step.name}") for t in texts)
        for agent in workshop.knowledge.agents.values():
            assert f"the handbook, agent: {agent.name}" in texts
        for bottle in workshop.bench.stock:
            name = workshop.knowledge.agents[bottle.agent].name
            assert any(t.startswith(f"a bottle: {name}") for t in texts)
        await found(driver, "grey hair stays")
        await driver.on(PlanScreen)
        assert driver.screen.case_id == "skimmer-plate-8"


async def test_a_command_asks_for_its_words_and_shows_what_it_says(workshop: Workshop) -> None:
    """One line for each word, the case at hand in its own; what is wrong is said in place."""
    async with opened(workshop) as driver:
        await found(driver, "bench sheet of a case")
        await driver.on(FormScreen)
        assert driver.screen.query_one("#case").value == CASE
        await driver.press("f9")
        await found(driver, "drops: ")
        await driver.on(FormScreen)
        await driver.write("5")
        await driver.press("down")
        await driver.write("nothing-known", "enter")
        assert "nothing-known" in driver.screen.query_one("#fault").text
        await driver.press(*["backspace"] * 13)
        await driver.write("etha")
        await driver.press("right", "enter", on=DetailScreen)
        assert "5 drops are about" in driver.text
        await driver.press("q")
        await driver.on(FormScreen)  # to reckon again with another figure
        assert driver.screen.query_one("#agent").value == "ethanol"


async def test_what_a_form_lacks_is_called_by_the_words_of_its_lines(workshop: Workshop) -> None:
    async with opened(workshop) as driver:
        await found(driver, "mix: ")
        await driver.on(FormScreen)
        await driver.press("enter")
        known = next(each for each in driver.app.inside.known() if each.name == "mix")
        what = {word.name: word.what for word in known.words}
        assert what["agent"] in driver.screen.query_one("#fault").text
        await driver.write("ethanol", "enter")
        fault = driver.screen.query_one("#fault").text
        assert f'"{what["to"]}"' in fault
        assert "--" not in fault


async def test_a_command_run_here_changes_the_case_that_is_shown(workshop: Workshop) -> None:
    async with opened(workshop) as driver:
        said = driver.app.inside.run(f"accept {CASE} f1 --reason 'it belongs to it'", workshop)
        assert said
        assert workshop.load(CASE).finding("f1").reason == "it belongs to it"


def test_a_sheet_is_shown_in_the_browser_and_sent_to_the_printer(
    workshop: Workshop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    shown, printed = [], []
    monkeypatch.setattr(sheet.webbrowser, "open", lambda url: shown.append(url) or True)
    monkeypatch.setattr(sheet.shutil, "which", lambda name: f"/bin/{name}")
    monkeypatch.setattr(
        sheet.subprocess,
        "run",
        lambda words, **_: printed.append(words) or SimpleNamespace(returncode=0, stderr=""),
    )
    inside, out = CommandLine(lambda: build_parser().by_name, cli.run), tmp_path / "bee.html"
    inside.run(f"sheet {CASE} --open --print --out {out}", workshop)
    assert shown == [out.as_uri()]
    assert printed == [["/bin/lp", str(out)]]
    assert "Bumblebee worker" in out.read_text(encoding="utf-8")
