"""What holds on every screen: stop, help, no colour, small terminals, no markup from files."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from rich.segment import Segment
from textual.containers import ScrollableContainer
from textual.strip import Strip
from textual.widgets import Footer, OptionList

from tests.tui.driving import Driver, Hand, driven
from triage.service import Workshop, open_workshop
from triage.tui.screens.cases import CasesScreen
from triage.tui.screens.helping import HelpScreen
from triage.tui.screens.stop import StopScreen

ROOT = Path(__file__).resolve().parents[2]
# Every screen by the keys that lead to it from the plan of a demo case; also the list of
# screens for pictures of them.
SCREENS: dict[str, tuple[str, ...]] = {
    "cases": ("q",),
    "filter": ("q", "slash"),
    "new-case": ("q", "n"),
    "plan": (),
    "explain": ("e",),
    "observe": ("l",),
    "drawings": ("l", "m"),
    "questions-whole": ("l", "g"),
    "questions-finding": ("l", "h", "1"),
    "walk": ("s",),
    "particulars": ("s", "m"),
    "skip": ("k",),
    "bench": ("o",),
    "handbook": ("h",),
    "handbook-kind": ("h", "k"),
}
CASE = "bumblebee-plate-3"


@pytest.fixture(scope="module")
def unchanged(tmp_path_factory: pytest.TempPathFactory) -> Workshop:
    """One workshop for the tests that only look."""
    folder = tmp_path_factory.mktemp("looking") / "cases"
    folder.mkdir()
    shutil.copy(ROOT / "cases" / f"{CASE}.yaml", folder)
    shutil.copy(ROOT / "cases" / "bench.yaml", folder)
    shutil.copy(ROOT / "cases" / "hoverfly-plate-2.yaml", folder)
    return open_workshop(cases=folder, clock=Hand())


async def reached(driver: Driver, name: str) -> None:
    await driver.settled()
    await driver.press(*SCREENS[name])


@pytest.mark.parametrize("name", SCREENS)
async def test_every_screen(
    unchanged: Workshop, monkeypatch: pytest.MonkeyPatch, name: str
) -> None:
    monkeypatch.setenv("NO_COLOR", "")
    async with driven(unchanged, case=CASE, size=(80, 24)) as driver:
        await reached(driver, name)
        coloured = driver.text
        assert colours(driver)
        nothing_is_cut_off_at_the_side(driver)
        await grown_and_shrunk(driver)
        await stopped_and_gone_on(driver)
    monkeypatch.setenv("NO_COLOR", "1")
    async with driven(unchanged, case=CASE, size=(80, 24)) as driver:
        await reached(driver, name)
        assert not colours(driver)
        # Nothing is said by colour alone: the same signs stand on the screen without it.
        assert driver.text == coloured


def nothing_is_cut_off_at_the_side(driver: Driver) -> None:
    for widget in driver.screen.walk_children():
        scrolls = isinstance(widget, OptionList | ScrollableContainer)
        if widget.display and scrolls and not isinstance(widget, Footer):
            assert widget.max_scroll_x == 0, widget
    assert "Esc" in driver.text.splitlines()[-1]


async def grown_and_shrunk(driver: Driver) -> None:
    before = driver.text
    await driver.pilot.resize_terminal(140, 40)
    await driver.until(lambda: driver.text != before, "nothing changed with the size")
    await driver.pilot.resize_terminal(80, 24)
    await driver.until(lambda: driver.text == before, f"something was lost:\n{before}")


async def stopped_and_gone_on(driver: Driver) -> None:
    before, depth = driver.screen, len(driver.app.screen_stack)
    await driver.press("escape")
    await driver.on(StopScreen)
    assert "Take the tool off the specimen" in driver.text
    await driver.press("enter", "escape")
    assert isinstance(driver.screen, StopScreen)
    await driver.press("r")
    assert driver.screen is before
    assert len(driver.app.screen_stack) == depth


@pytest.mark.parametrize("name", ["cases", "plan", "observe", "questions-whole", "walk", "bench"])
async def test_help_lists_every_key_of_the_screen(unchanged: Workshop, name: str) -> None:
    async with driven(unchanged, case=CASE, size=(100, 60)) as driver:
        await reached(driver, name)
        described = {
            active.binding.description
            for active in driver.screen.active_bindings.values()
            if active.enabled and active.binding.show
        }
        await driver.press("question_mark")
        await driver.on(HelpScreen)
        for what in described:
            assert what in driver.screen.plain
        assert "Esc" in driver.screen.plain


def colours(driver: Driver) -> set[str]:
    """Return every colour that would reach the terminal."""
    found = set()
    for strip in driver.screen._compositor.render_strips():
        for segment in _filtered(driver, strip):
            for colour in (segment.style.color, segment.style.bgcolor) if segment.style else ():
                if colour is not None and not colour.is_default:
                    found.add(colour.name)
    return found


def _filtered(driver: Driver, strip: Strip) -> list[Segment]:
    segments = list(strip)
    for line_filter in driver.app.get_line_filters():
        segments = line_filter.apply(segments, driver.screen.background_colors[1])
    return segments


@pytest.mark.parametrize(
    ("value", "coloured"), [(None, True), ("", True), ("1", False), ("0", False)]
)
async def test_no_color_is_obeyed_exactly(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch, value: str | None, coloured: bool
) -> None:
    """no-color.org: set and not empty, whatever the value, means no added colour."""
    monkeypatch.delenv("NO_COLOR", raising=False)
    if value is not None:
        monkeypatch.setenv("NO_COLOR", value)
    async with driven(workshop, case=CASE) as driver:
        assert bool(colours(driver)) is coloured


async def test_without_colour_the_row_under_the_cursor_is_still_marked(
    unchanged: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with driven(unchanged, case=CASE) as driver:
        await reached(driver, "cases")

        def marked() -> list[int]:
            strips = driver.screen._compositor.render_strips()
            return [
                row
                for row, strip in enumerate(strips)
                if any(
                    s.style and s.style.reverse and s.text.strip() for s in _filtered(driver, strip)
                )
            ]

        first = marked()
        assert first
        await driver.press("down")
        assert marked() != first


async def test_text_from_files_is_never_markup(tmp_path: Path) -> None:
    workshop = open_workshop(cases=tmp_path)
    title = "[bold red]not red[/] [link=x]"
    case = workshop.new(title, "bees-wasps")
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        assert title in driver.text
        await driver.press("enter")
        await driver.until(lambda: title in driver.text, "title on the plan")
        await driver.press("l")
        assert title in driver.text
        assert workshop.load(case.id).title == title


async def test_a_broken_case_is_named_with_its_fault_and_the_others_open(demo: Path) -> None:
    (demo / "broken.yaml").write_text("format: 1\nid: broken\ntitle: [\n", encoding="utf-8")
    async with driven(open_workshop(cases=demo)) as driver:
        await driver.on(CasesScreen)
        assert "CANNOT BE READ" in driver.text
        assert "broken.yaml" in driver.text
        assert "Bumblebee worker" in driver.text


async def test_filter_by_typing(workshop: Workshop) -> None:
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        assert "HELD" in driver.text.splitlines()[1]
        await driver.press("slash")
        await driver.write("bumble")
        await driver.settled()
        assert "Cases: 1 of" in driver.text
        assert "Hoverfly" not in driver.text
        await driver.press("f9")
        assert "Hoverfly" in driver.text


async def test_the_demo_is_offered_where_there_is_no_case(tmp_path: Path) -> None:
    workshop = open_workshop(cases=tmp_path / "none")
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        assert "make a demo case" in driver.text
        await driver.press("D")
        assert len(workshop.list_cases()) >= 3
        assert "Bumblebee worker" in driver.text


async def test_the_bench_is_saved_and_a_wrong_value_is_refused(workshop: Workshop) -> None:
    async with driven(workshop) as driver:
        await driver.on(CasesScreen)
        await driver.press("o", "down", "enter")
        await driver.press(*["backspace"] * 5)
        await driver.write("42")
        await driver.press("enter")
        assert workshop.bench.room.volume_m3 == 42
        await driver.press("enter", *["backspace"] * 5)
        await driver.write("huge")
        await driver.press("enter")
        assert workshop.bench.room.volume_m3 == 42
        assert "huge" in driver.screen.query_one("#fault").text
