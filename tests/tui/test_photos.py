"""Photos before and after, side by side; in words where they cannot be drawn."""

import base64
import io
import os
import pty
import re
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from tests.proof.pictures import made
from tests.tui.conftest import ROOT
from tests.tui.driving import CASE, Driver, Hand, driven, next_step
from triage.errors import TriageError
from triage.picture.files import CAME as CAME_INK
from triage.picture.files import LEFT as LEFT_INK
from triage.service.benchasked import changed_bench
from triage.service.workshop import Workshop
from triage.tui.keysets import LEFT
from triage.tui.screens import photos
from triage.tui.screens.photos import drawer, upright

RED, BLUE = (255, 0, 0), (0, 0, 255)


def with_pair(workshop: Workshop, before: Image.Image, after: Image.Image) -> Workshop:
    """Record an attempt whose photos are these two."""
    folder = workshop.cases / "photos"
    folder.mkdir(exist_ok=True)
    before.save(folder / "red.png")
    after.save(folder / "blue.png")
    pair = {"photo_before": "photos/red.png", "photo_after": "photos/blue.png"}
    workshop.record(CASE, next_step(workshop, CASE).id, "better", **pair)
    return workshop


@pytest.fixture
def pictured(workshop: Workshop) -> Workshop:
    return with_pair(workshop, *(Image.new("RGB", (64, 48), ink) for ink in (RED, BLUE)))


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


@pytest.mark.parametrize(
    ("no_color", "are_there", "said", "inks"),
    [
        ("", True, ("BEFORE photos/red.png", "AFTER photos/blue.png"), ["#ff0000", "#0000ff"]),
        ("1", True, ("photos/red.png", "Not drawn"), []),
        ("", False, ("NOT THERE", "no picture"), []),
    ],
    ids=["in colour", "without colour in words", "gone, and no picture"],
)
async def test_the_pair_is_drawn_with_its_paths(
    pictured: Workshop, monkeypatch: pytest.MonkeyPatch, no_color: str, are_there: bool,
    said: tuple[str, ...], inks: list[str],
) -> None:  # fmt: skip
    monkeypatch.setenv("NO_COLOR", no_color)
    if not are_there:
        (pictured.cases / "photos" / "red.png").unlink()
        (pictured.cases / "photos" / "blue.png").write_text("no picture", encoding="utf-8")
    async with driven(pictured, case=CASE) as driver:
        await driver.press("p", on="photos")
        assert all(words in driver.words for words in said), driver.text
        assert painted(driver) == ([{ink} for ink in inks] or [set(), set()])


async def test_only_keys_that_do_something_are_shown(looker: Driver) -> None:
    looker.app._use_keys(LEFT)
    await looker.press("p", on="photos")
    assert f"{LEFT.sign('pass')} names the photos" in looker.text
    assert "Older" not in looker.last_line


def test_a_photo_is_shown_as_it_was_held_and_in_its_proportions(tmp_path: Path) -> None:
    picture = Image.new("RGB", (60, 40), RED)
    turned = Image.Exif()
    turned[0x0112] = 6  # EXIF 2.3, tag 274: the first row is the right side
    picture.save(tmp_path / "two.jpg", exif=turned)
    assert upright(tmp_path / "two.jpg").size == (40, 60)


@pytest.mark.parametrize("content", [b"", b"\x89PNG\r\n\x1a\n", b"GIF89a\xff\xff\xff\xff"])
def test_broken_pictures_are_refused_in_words(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "broken.png"
    path.write_bytes(content)
    with pytest.raises(TriageError, match="cannot be drawn"):
        upright(path)


def test_without_the_library_it_is_said_what_to_install(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(sys.modules, "PIL", None)
    with pytest.raises(TriageError, match="picture"):
        upright(tmp_path / "any.png")


def test_the_terminal_is_asked_nothing_and_keeps_every_key() -> None:
    """In a terminal of its own: what draws is chosen, nothing is written, no key is taken."""
    ours, its = pty.openpty()
    os.write(ours, b"l\n")
    act = "from triage.tui.screens.photos import drawer; drawer(); print(repr(input()))"
    done = subprocess.Popen([sys.executable, "-c", act], cwd=ROOT, stdin=its, stdout=its)
    assert done.wait(60) == 0
    said = os.read(ours, 400)
    assert said.split() == [b"l", b"'l'"]  # the key as the terminal echoes it, then as it was read


def test_pixels_are_drawn_only_where_the_terminal_is_known_for_them() -> None:
    terms = ({"TERM": "xterm-kitty"}, {"TERM": "foot-extra"}, {"TERM": "screen"}, {})
    kinds = [drawer(environ).__name__ for environ in terms]
    assert kinds == ["TGPImage", "Image", "HalfcellImage", "HalfcellImage"]


async def test_the_newest_picture_of_the_camera_is_offered_and_kept_beside_the_case(
    workshop: Workshop, tmp_path: Path
) -> None:
    """As before while the step is young, as after when it was taken since; never without a key."""
    camera, hand = tmp_path / "camera", Hand()
    camera.mkdir()
    workshop.clock = hand
    workshop.save_bench(changed_bench(workshop.bench, ("photos", "watch"), str(camera)))

    def take(name: str, colour: tuple[int, int, int]) -> None:
        place = camera / name
        Image.new("RGB", (64, 48), colour).save(place)
        os.utime(place, (hand().timestamp(),) * 2)

    hand.on(-60)
    take("one.png", RED)
    (camera / "list.txt").write_text("no picture")
    hand.on(60)
    async with driven(workshop, case=CASE, clock=hand) as driver:
        await driver.press("s", "m", on="form")
        assert not driver.screen.query_one("#photo_before").value
        assert "F4 takes one.png" in driver.text
        await driver.press("f4", "enter")
        hand.on(20)
        take("two.png", BLUE)
        await driver.press("m", "f4", "enter")
        await driver.record("b")
    last = workshop.load(CASE).attempts[-1]
    for photo, name in ((last.photo_before, "one.png"), (last.photo_after, "two.png")):
        assert photo == f"photos/{CASE}/{name}"
        assert workshop.check_photo(CASE, photo).read_bytes() == (camera / name).read_bytes()
    take("two.png", RED)  # the camera counts anew: what was kept stays as it is
    path = workshop.path_of(CASE)
    assert workshop.keep_photo(path, str(camera / "two.png")) == f"photos/{CASE}/two-2.png"
    assert workshop.keep_photo(path, str(camera / "one.png")) == last.photo_before


def test_a_watched_folder_that_is_gone_is_said_and_takes_no_other_path(
    workshop: Workshop, tmp_path: Path
) -> None:
    workshop.save_bench(changed_bench(workshop.bench, ("photos", "watch"), "no/such"))
    with pytest.raises(TriageError, match=r"no/such.*photos, watch"):
        workshop.newest_photo()
    elsewhere = tmp_path / "elsewhere.png"
    Image.new("RGB", (8, 8)).save(elsewhere)
    with pytest.raises(TriageError, match="outside"):
        workshop.check_photo(CASE, str(elsewhere))


async def test_the_pair_is_opened_in_the_viewer_of_the_system(
    pictured: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    opened: list[Path] = []
    monkeypatch.setattr(photos, "view_photo", opened.append)
    async with driven(pictured, case=CASE) as driver:
        await driver.press("p", "enter")
        await driver.until(lambda: len(opened) == 2)
    assert [place.name for place in opened] == ["red.png", "blue.png"]


async def test_a_terminal_with_placeholders_is_sent_the_pair_itself(
    pictured: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Graphics protocol of kitty, "the graphics escape code": ESC _G keys ; base64 ESC backslash."""
    monkeypatch.setenv("TERM", "xterm-kitty")
    monkeypatch.delenv("NO_COLOR", raising=False)
    monkeypatch.setattr(sys, "__stdout__", io.StringIO())
    async with driven(pictured, case=CASE) as driver:
        await driver.press("p", on="photos")
        sent = sys.__stdout__
        await driver.until(lambda: sent.getvalue().count("U=1") == 2)
    coded = re.findall(r"\x1b_G[^;\x1b]*f=100[^;\x1b]*;([^\x1b]*)\x1b", sent.getvalue())
    pictures = [Image.open(io.BytesIO(base64.b64decode(each))).convert("RGB") for each in coded]
    assert {each.getpixel((5, 5)) for each in pictures} == {RED, BLUE}


def points_of(sixels: str) -> np.ndarray:
    """Return the picture that a terminal draws (DEC STD 070, chapter 9: sixels), dark where none."""
    body = re.search(r'\x1bP[\d;]*q"\d+;\d+;(\d+);(\d+)(.*?)\x1b\\', sixels, re.DOTALL)
    assert body is not None
    wide, high = int(body[1]), int(body[2])
    drawn = np.zeros((high + 6, wide, 3), np.uint8)
    inks: dict[str, tuple[int, ...]] = {}
    ink: tuple[int, ...] = (0, 0, 0)
    column = top = 0
    one = r"#(\d+)(?:;2;(\d+);(\d+);(\d+))?|(?:!(\d+))?([?-~])|([$-])"
    for number, red, green, blue, times, six, turn in re.findall(one, body[3]):
        if red:
            ink = inks[number] = tuple(round(2.55 * int(each)) for each in (red, green, blue))
        elif number:
            ink = inks[number]
        elif six:
            for bit in range(6):
                if (ord(six) - 63) >> bit & 1:
                    drawn[top + bit, column : column + int(times or 1)] = ink
            column += int(times or 1)
        else:
            column, top = 0, top + (6 if turn == "-" else 0)
    return drawn[:high]


def inked(points: np.ndarray, ink: tuple[int, ...]) -> bool:
    """Return whether a mark of this colour is drawn, as near as 256 inks allow."""
    return bool((np.abs(points.astype(int) - ink).max(axis=2) < 25).sum() > 50)


async def test_the_pair_is_compared_by_one_key_and_marked_in_real_pixels(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("TERM", "mlterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    pytest.importorskip("skimage", reason="the extra picture is not installed")
    before, after, true = made("grass", np.random.default_rng(20))
    pair = (Image.fromarray((each * 255).round().astype(np.uint8)) for each in (before, after))
    async with driven(with_pair(workshop, *pair), case=CASE, size=(100, 40)) as driver:

        def shown() -> list[np.ndarray]:
            strips = driver.screen._compositor.render_strips()
            texts = [text for strip in strips for text, _, _ in strip if text.startswith("\x1bP")]
            return [points_of(text) for text in texts]

        await driver.press("p", on="photos")
        await driver.until(lambda: len(shown()) == 2)
        plain = shown()
        middle = before[100:-100, 100:-100].mean(axis=(0, 1)) * 255
        side = plain[0].shape[0] // 5
        assert plain[0][side:-side, side:-side].mean(axis=(0, 1)) == pytest.approx(middle, abs=6)
        await driver.press("equals_sign")
        await driver.until(lambda: "this speaks for" in driver.text)
        assert f"left: {len(true.gone)} spots" in driver.text
        inks = (LEFT_INK, CAME_INK)
        await driver.until(
            lambda: [inked(*each) for each in zip(shown(), inks, strict=False)] == [True, True]
        )
        assert not any(inked(*each) for each in zip(plain, inks, strict=True))
