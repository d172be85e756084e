"""What holds on every screen, wide and narrow, with and without colour, and a picture of each.

A changed picture is looked at before it is taken over: ``pytest tests/tui/test_snapshots.py
--snapshot-update``, then see ``tests/tui/__snapshots__``.
"""

import re
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

import pytest
import textual
from syrupy.assertion import SnapshotAssertion
from syrupy.extensions.single_file import SingleFileSnapshotExtension, WriteMode
from syrupy.location import PyTestLocation
from syrupy.types import SnapshotIndex
from textual.containers import ScrollableContainer
from textual.widgets import Footer, Input, OptionList

from tests.tui.driving import Driver, colours, driven
from tests.tui.places import SCREENS, reached
from triage.service.workshop import Workshop
from triage.tui.screens import plan

DRAWN_WITH = "8.2.8"
# Wide screens differ from narrow ones by their columns only: those that have some.
WIDE = {"cases", "plan", "desk-why", "observe", "questions-finding", "walk", "air", "today"}
WIDE |= {"handbook"}


class Picture(SingleFileSnapshotExtension):
    """One SVG file a picture."""

    _file_extension = "svg"
    _write_mode = WriteMode.TEXT

    @classmethod
    def get_snapshot_name(cls, *, test_location: PyTestLocation, index: SnapshotIndex = 0) -> str:
        """Sort the pictures by size and ink."""
        return f"{test_location.methodname}[{'-'.join(str(index).split('-')[-2:])}][{index}]"


def picture(driver: Driver) -> str:
    """Return the screen as SVG; what differs from run to run is made the same."""
    for line in driver.screen.query("Input"):
        line.cursor_blink = False
        line._cursor_visible = True
    svg = driver.app.export_screenshot(title="triage", simplify=True)
    svg = re.sub(r"\d+(&#160;entries)", r"N\1", svg)  # the rulebase grows
    return re.sub(r"terminal-\d+", "terminal", svg)


async def test_screens(
    looking: Workshop, monkeypatch: pytest.MonkeyPatch, snapshot: SnapshotAssertion
) -> None:
    """In one program each, with colour and without: as drawn, whole, stop and back from it."""
    monkeypatch.setattr(plan, "RESTING_S", 0)  # the pictures show how firm the steps are
    drawn, changed = snapshot.use_extension(Picture), []
    coloured: dict[str, str] = {}
    for ink in ("colour", "plain"):
        monkeypatch.setenv("NO_COLOR", "" if ink == "colour" else "1")
        async with driven(looking, size=(80, 24)) as driver:
            for name, keys in SCREENS.items():
                await reached(driver, name)
                text = driver.text
                assert bool(colours(driver)) is (ink == "colour"), name
                # Nothing is said by colour alone: the same signs stand on the screen without it.
                assert coloured.setdefault(name, text) == text, name
                pictures = {f"{name}-80x24-{ink}": picture(driver)}
                if name in WIDE or len(keys) < 2:
                    async with grown(driver):
                        if name in WIDE:
                            pictures[f"{name}-140x40-{ink}"] = picture(driver)
                changed += [each for each, svg in pictures.items() if svg != drawn(name=each)]
                if ink == "colour":
                    if name != "stopped":
                        nothing_is_cut_off_at_the_side(driver)
                        await stopped_and_gone_on(driver)
                    await one_key_goes_back(driver, name)
    if textual.__version__ != DRAWN_WITH:
        pytest.skip(f"the pictures were drawn with Textual {DRAWN_WITH}")
    assert changed == []


@asynccontextmanager
async def grown(driver: Driver) -> AsyncIterator[None]:
    """Make the window larger for a while: nothing is lost by it."""
    before = driver.text
    await driver.pilot.resize_terminal(140, 40)
    await driver.until(lambda: driver.text != before, "nothing changed with the size")
    await driver.settled()
    yield
    await driver.pilot.resize_terminal(80, 24)
    await driver.until(lambda: driver.text == before, f"something was lost:\n{before}")


def nothing_is_cut_off_at_the_side(driver: Driver) -> None:
    for widget in driver.screen.walk_children():
        scrolls = isinstance(widget, OptionList | ScrollableContainer)
        if widget.display and scrolls and not isinstance(widget, Footer):
            assert widget.max_scroll_x == 0, widget
    assert "Esc" in driver.last_line


async def stopped_and_gone_on(driver: Driver) -> None:
    before, depth = driver.screen, len(driver.app.screen_stack)
    await driver.press("escape", on="stop")
    assert "Take the tool off the specimen" in driver.text
    await driver.press("enter")
    assert driver.at("stop")
    await driver.press("q")
    assert driver.screen is before
    assert len(driver.app.screen_stack) == depth


async def one_key_goes_back(driver: Driver, name: str) -> None:
    """Out of help, of the palette, of a line that is written; at the first screen nothing ends."""
    before, depth = driver.screen, len(driver.app.screen_stack)
    for opens in ("question_mark", "ctrl+p"):
        is_line = isinstance(driver.screen.focused, Input)
        if not (is_line and opens == "question_mark") and name not in ("help", "stopped"):
            await driver.press(opens)
            assert driver.screen is not before, (name, opens)
            await driver.press("f9")
            assert driver.screen is before, (name, opens)
    await driver.press("f9")
    is_first = name in ("cases", "filter")
    assert len(driver.app.screen_stack) == depth - (not is_first), name
    assert driver.app.is_running
    if name == "filter":
        assert not isinstance(driver.screen.focused, Input)
