"""Photos before and after, side by side; in words where they cannot be drawn."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.proof.pictures import made
from tests.tui.driving import Driver, driven
from tests.tui.places import CASE
from triage.errors import TriageError
from triage.photos import half_blocks
from triage.service import Workshop
from triage.tui.keysets import LEFT
from triage.tui.screens.photos import PhotosScreen

RED, BLUE = (255, 0, 0), (0, 0, 255)


@pytest.fixture
def pictured(workshop: Workshop) -> Workshop:
    """A case with an attempt whose photos are a red and a blue one."""
    folder = workshop.cases / "photos"
    folder.mkdir(exist_ok=True)
    for name, colour in (("red", RED), ("blue", BLUE)):
        Image.new("RGB", (64, 48), colour).save(folder / f"{name}.png")
    step = workshop.plan(workshop.load(CASE)).next_step()
    assert step is not None
    workshop.record(
        CASE, step.id, "better", photo_before="photos/red.png", photo_after="photos/blue.png"
    )
    return workshop


def painted(driver: Driver) -> list[set[str]]:
    """Return the colours of the half blocks in the left and the right half of the screen."""
    halves: list[set[str]] = [set(), set()]
    for strip in driver.screen._compositor.render_strips():
        column = 0
        for text, style, _ in strip:
            if "\u2580" in text and style and style.color:
                halves[column >= 40].add(style.color.name)
            column += len(text)
    return halves


async def test_the_pair_is_drawn_with_its_paths(
    pictured: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "")
    async with driven(pictured, case=CASE) as driver:
        await driver.press("p")
        await driver.on(PhotosScreen)
        assert "BEFORE  photos/red.png" in driver.text
        assert "AFTER  photos/blue.png" in driver.text
        assert painted(driver) == [{"#ff0000"}, {"#0000ff"}]


async def test_without_colour_the_paths_stand_in_words(
    pictured: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with driven(pictured, case=CASE) as driver:
        await driver.press("p")
        assert "photos/red.png" in driver.text
        assert "Not drawn" in driver.text
        assert painted(driver) == [set(), set()]


async def test_a_photo_that_is_gone_and_one_that_is_none_are_said_in_place(
    pictured: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "")
    (pictured.cases / "photos" / "red.png").unlink()
    (pictured.cases / "photos" / "blue.png").write_text("no picture", encoding="utf-8")
    async with driven(pictured, case=CASE) as driver:
        await driver.press("p")
        flat = " ".join(driver.text.split())
        assert "NOT THERE" in flat
        assert "no picture" in flat


async def test_only_keys_that_do_something_are_shown(looking: Workshop) -> None:
    async with driven(looking, case=CASE) as driver:
        driver.app._use_keys(LEFT)
        await driver.press("p")
        await driver.on(PhotosScreen)
        assert f"{LEFT.sign('walk.particulars')} names the photos" in driver.text
        assert "Older" not in driver.text.splitlines()[-1]


def test_half_blocks_keep_the_proportions_and_the_colours(tmp_path: Path) -> None:
    picture = Image.new("RGB", (40, 40), RED)
    picture.paste(BLUE, (0, 20, 40, 40))
    picture.save(tmp_path / "two.png")
    rows = half_blocks(tmp_path / "two.png", 20, 50)
    # Square, 20 points wide: 20 points high, two points to a row.
    assert (len(rows), len(rows[0])) == (10, 20)
    assert rows[0][0] == (RED, RED)
    assert rows[9][19] == (BLUE, BLUE)


@pytest.mark.parametrize("content", [b"", b"\x89PNG\r\n\x1a\n", b"GIF89a\xff\xff\xff\xff"])
def test_broken_pictures_are_refused_in_words(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "broken.png"
    path.write_bytes(content)
    with pytest.raises(TriageError, match="cannot be drawn"):
        half_blocks(path, 10, 10)


def test_without_the_library_it_is_said_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(__import__("sys").modules, "PIL", None)
    with pytest.raises(TriageError, match="photos"):
        half_blocks(tmp_path / "any.png", 10, 10)


async def test_the_pair_is_compared_by_one_key(workshop: Workshop) -> None:
    pytest.importorskip("skimage", reason="the extra picture is not installed")
    before, after, true = made("grass", np.random.default_rng(20))
    for name, picture in (("a.png", before), ("b.png", after)):
        points = (picture * 255).round().astype(np.uint8)
        Image.fromarray(points).save(workshop.cases / name)
    step = workshop.plan(workshop.load(CASE)).next_step()
    assert step is not None
    workshop.record(CASE, step.id, "better", photo_before="a.png", photo_after="b.png")
    async with driven(workshop, case=CASE) as driver:
        await driver.press("p")
        await driver.on(PhotosScreen)
        await driver.press("equals_sign")
        await driver.until(lambda: "this speaks for" in driver.text)
        assert f"left: {len(true.gone)} spots" in driver.text
