"""Whatever the program can do, and whatever has a name in it, is found by a few letters."""

from pathlib import Path
from types import SimpleNamespace

import pytest

from tests.tui.driving import CASE, Driver, next_step
from triage import cli
from triage.cli import build_parser, commands
from triage.commands import sheet
from triage.service.commandline import NOT_INSIDE, CommandLine
from triage.service.workshop import Workshop
from triage.tui.palette import acts_of, commands_of, named_things


@pytest.fixture
def inside(driver: Driver) -> Driver:
    driver.app.inside = CommandLine(lambda: build_parser().by_name, cli.run)
    return driver


async def found(driver: Driver, words: str, on: str) -> None:
    """Open the palette, write some letters, take the first thing that has them."""
    await driver.press("ctrl+p", on="palette")
    await driver.write(words)
    palette = driver.screen
    await driver.until(
        lambda: palette._list_visible and palette.query("CommandList").first().option_count, words
    )
    await driver.press("enter")
    if driver.screen is palette:
        await driver.press("enter")
    await driver.on(on)


async def test_every_command_is_offered_but_what_belongs_in_a_shell(inside: Driver) -> None:
    """``serve`` is this interface for a browser, ``completion`` a script for the shell.

    ``bench`` asks line by line; its screen does here.
    """
    assert {"serve", "completion", "bench"} == NOT_INSIDE
    offered = {each.title.split(":")[0] for each in commands_of(inside.app, inside.screen)}
    assert offered == set(commands()) - NOT_INSIDE
    titles = [command.title for command in inside.app.get_system_commands(inside.screen)]
    assert len(titles) == len(set(titles))
    assert not {"Maximize", "Keys"} & set(titles)


async def test_every_act_of_a_screen_is_offered_but_what_records(inside: Driver) -> None:
    titles = {each.title for each in acts_of(inside.screen)}
    assert {"Start", "Look", "Why", "Air", "Photos", "Bench", "Handbook"} <= titles
    await inside.press("s")
    assert not [each.title for each in acts_of(inside.screen) if "Record" in each.title]
    await inside.press("q")
    await found(inside, "Look", "observe")


async def test_cases_steps_bottles_agents_and_words_of_notes_are_found(inside: Driver) -> None:
    shop = inside.workshop
    shop.record("skimmer-plate-8", "f2-puff-air", "better", note="a grey hair stays")
    agents = shop.knowledge.agents
    texts = [f"{each.help}: {each.title}" for each in named_things(inside.app, inside.screen)]
    assert {f"a case: {line.title} ({line.id})" for line in shop.list_cases()} <= {*texts}
    assert {f"the handbook, agent: {agent.name}" for agent in agents.values()} <= {*texts}
    things = [f"a step: {next_step(shop, CASE).name}"]
    for start in (*things, *(f"a bottle: {agents[each.agent].name}" for each in shop.bench.stock)):
        assert any(text.startswith(start) for text in texts), start
    await found(inside, "grey hair stays", "plan")
    assert inside.screen.case_id == "skimmer-plate-8"


async def test_a_command_asks_for_its_words_and_shows_what_it_says(inside: Driver) -> None:
    """One line for each word, the case at hand in its own; what is wrong is said in place."""
    await found(inside, "bench sheet of a case", "form")
    assert inside.screen.query_one("#case").value == CASE
    await inside.press("f9")
    await found(inside, "drops: ", "form")
    await inside.write("5", "down")
    await inside.write("nothing-known", "enter")
    assert "nothing-known" in inside.fault
    await inside.press(*["backspace"] * 13)
    await inside.write("etha", "right", "enter", on="detail")
    assert "5 drops are about" in inside.text
    await inside.press("q", on="form")  # to reckon again with another figure
    assert inside.screen.query_one("#agent").value == "ethanol"


async def test_what_a_form_lacks_is_called_by_the_words_of_its_lines(inside: Driver) -> None:
    await found(inside, "mix: ", "form")
    await inside.press("enter")
    known = next(each for each in inside.app.inside.known() if each.name == "mix")
    what = {word.name: word.what for word in known.words}
    assert what["agent"] in inside.fault
    await inside.write("ethanol", "enter")
    assert f'"{what["to"]}"' in inside.fault
    assert "--" not in inside.fault


async def test_a_command_run_here_changes_the_case_that_is_shown(inside: Driver) -> None:
    assert inside.app.inside.run(f"accept {CASE} f1 --reason 'it belongs to it'", inside.workshop)
    assert inside.case.finding("f1").reason == "it belongs to it"


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
