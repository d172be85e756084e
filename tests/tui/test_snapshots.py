"""Pictures of every screen, wide and narrow, with and without colour.

A changed picture is looked at before it is taken over: ``pytest tests/tui/test_snapshots.py
--snapshot-update``, then see ``tests/tui/__snapshots__``.
"""

from __future__ import annotations

import re

import pytest
import textual
from syrupy.assertion import SnapshotAssertion
from syrupy.extensions.single_file import SingleFileSnapshotExtension, WriteMode

from tests.tui.driving import Driver, driven
from tests.tui.places import SCREENS, reached
from triage.service.workshop import Workshop
from triage.tui.screens import plan

DRAWN_WITH = "8.2.8"
# Wide screens differ from narrow ones by their columns only: those that have some.
WIDE = (
    "cases",
    "plan",
    "desk-why",
    "observe",
    "questions-finding",
    "walk",
    "air",
    "today",
    "handbook",
)
pytestmark = pytest.mark.skipif(
    textual.__version__ != DRAWN_WITH,
    reason=f"the pictures were drawn with Textual {DRAWN_WITH}, here is {textual.__version__}",
)


class Picture(SingleFileSnapshotExtension):
    """One SVG file a picture."""

    _file_extension = "svg"
    _write_mode = WriteMode.TEXT


def picture(driver: Driver) -> str:
    """Return the screen as SVG; what differs from run to run is made the same."""
    for line in driver.screen.query("Input"):
        line.cursor_blink = False
        line._cursor_visible = True
    svg = driver.app.export_screenshot(title="triage", simplify=True)
    svg = re.sub(r"\d+(&#160;entries)", r"N\1", svg)  # the rulebase grows
    return re.sub(r"terminal-\d+", "terminal", svg)


@pytest.mark.parametrize("plain", [False, True], ids=["colour", "plain"])
@pytest.mark.parametrize("size", [(80, 24), (140, 40)], ids=["80x24", "140x40"])
async def test_screens(
    looking: Workshop,
    monkeypatch: pytest.MonkeyPatch,
    snapshot: SnapshotAssertion,
    size: tuple[int, int],
    plain: bool,
) -> None:
    monkeypatch.setenv("NO_COLOR", "1" if plain else "")
    monkeypatch.setattr(plan, "RESTING_S", 0)  # the pictures show how firm the steps are
    drawn = snapshot.use_extension(Picture)
    changed = []
    async with driven(looking, size=size) as driver:
        for name in SCREENS if size[0] == 80 else WIDE:
            await reached(driver, name)
            if picture(driver) != drawn(
                name=f"{name}-{size[0]}x{size[1]}-{'plain' if plain else 'colour'}"
            ):
                changed.append(name)
    assert changed == []
