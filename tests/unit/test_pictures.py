"""Photographs: from files, what they can show, pairs with known truth, and a patch of reference."""

import json
import sys
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import ndimage
from skimage.color.colorconv import xyz_from_rgb

from tests.proof.pictures import UNANSWERABLE, ground, judged, limits, made
from tests.support.knowledge import shipped
from triage.cli import main
from triage.errors import TriageError
from triage.picture.colour import Patch, encoded_srgb, linear_srgb
from triage.picture.files import marked, read_both, read_photo, side_by_side
from triage.picture.pair import Comparison, compare, glance
from triage.picture.register import CannotTell
from triage.picture.scale import scale_from_ruling
from triage.service.measuring import measured
from triage.show.compared import offered

tifffile = pytest.importorskip("tifffile", reason="the extra picture is not installed")


def raw_file(place: Path, linear: np.ndarray) -> Path:
    """Write a raw file as cameras do (DNG 1.4): one colour a point, and how the sensor sees colours."""
    points = np.zeros(linear.shape[:2], np.uint16)
    for (row, column), colour in {(0, 0): 0, (0, 1): 1, (1, 0): 1, (1, 1): 2}.items():
        points[row::2, column::2] = (linear[row::2, column::2, colour] * 65535).round()
    sees = [
        part for each in np.linalg.inv(xyz_from_rgb).ravel() for part in (round(1e4 * each), 10_000)
    ]
    tags = [
        (50706, "B", 4, (1, 4, 0, 0), True),
        (50708, "s", 0, "drawn", True),
        (33421, "H", 2, (2, 2), True),  # red green / green blue
        (33422, "B", 4, (0, 1, 1, 2), True),
        (50721, "2i", 9, tuple(sees), True),
        (50728, "2I", 3, (1, 1, 1, 1, 1, 1), True),  # the light of the day it was taken in
        (50778, "H", 1, 21, True),  # D65
        (50714, "I", 1, 0, True),
        (50717, "I", 1, 65535, True),
    ]
    tifffile.imwrite(place, points, photometric=32803, extratags=tags, metadata=None)
    return place


def test_a_raw_file_is_read_as_srgb(tmp_path: Path) -> None:
    pytest.importorskip("rawpy", reason="the extra picture is not installed")
    linear = np.full((200, 300, 3), 0.18)  # a grey card
    linear[:, :150] = 0.5, 0.2, 0.05
    got = read_photo(raw_file(tmp_path / "a.dng", linear))
    assert got.dtype == np.uint16
    for column in (70, 220):  # IEC 61966-2-1: 18 % of the light is 46 % of the scale
        expected = encoded_srgb(linear[100, column])
        assert got[100, column] / 65535 == pytest.approx(expected, abs=0.003)


@pytest.mark.parametrize(
    ("name", "library"), [("a.dng", "rawpy"), ("a.tif", "tifffile"), ("a.png", "PIL")]
)
def test_a_missing_library_is_named(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, name: str, library: str
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    with pytest.raises(TriageError) as told:
        read_photo(tmp_path / name)
    assert library in told.value.message
    assert 'extra "picture"' in told.value.mend


def test_a_photo_is_read_small_as_it_was_held_and_both_by_the_same_factor(tmp_path: Path) -> None:
    """EXIF orientation 6: what the file calls its top stood at the right (Exif 2.3, table 4)."""
    image = pytest.importorskip("PIL.Image", reason="the extra picture is not installed")
    upper_red = np.zeros((1200, 1600, 3), np.uint8)
    upper_red[:600, :, 0] = 200
    turned = image.Exif()
    turned[0x0112] = 6
    image.fromarray(upper_red).save(tmp_path / "a.jpg", exif=turned)
    image.fromarray(upper_red[:, :800]).save(tmp_path / "b.jpg")
    first, second, factor = read_both(tmp_path / "a.jpg", tmp_path / "b.jpg", 400)
    assert (first.shape[:2], second.shape[:2], factor) == ((400, 300), (300, 200), 4)
    assert first[200, 250, 0] > 150
    assert first[200, 50, 0] < 50


def test_a_photo_in_printing_inks_is_read_in_colours(tmp_path: Path) -> None:
    """Its four inks are no colours of light: taken for them, each would tell a wrong shift."""
    image = pytest.importorskip("PIL.Image", reason="the extra picture is not installed")
    image.new("CMYK", (200, 200), (0, 255, 255, 0)).save(tmp_path / "a.jpg")  # no cyan: red
    assert read_photo(tmp_path / "a.jpg")[100, 100] == pytest.approx([255, 0, 0], abs=3)


pytest.importorskip("skimage", reason="the extra picture is not installed")
SIDE = 460
CARD = (40, 50, 60, 44)  # left, top, width, height in the first photo
LAMP = np.array([1.15, 1.0, 0.72])  # a lamp in the place of daylight
MOVED = (11, 7)


def pair(surface: Any, lamp: Any) -> tuple[Any, Any]:
    """Return before and after: the same field moved, the surface multiplied (light), the lamp changed."""
    rng = np.random.default_rng(7)
    before = linear_srgb(ground("gravel"))
    after = before * surface
    left, top, wide, high = CARD
    for each in (before, after):
        each[top + 60 : top + 60 + high, left + 60 : left + 60 + wide] = 0.25

    def shown(field: Any, down: int, right: int) -> Any:
        cut = field[60 - down : 60 - down + SIDE, 60 - right : 60 - right + SIDE]
        noisy = encoded_srgb(cut) + rng.normal(0, 0.006, cut.shape)
        return np.clip(noisy, 0, 1).astype(np.float32)

    return shown(before, 0, 0), shown(np.clip(after * lamp, 0, 1), *MOVED)


def found(surface: Any, lamp: Any, patch: Patch | None) -> Comparison:
    return compare(*pair(surface, lamp), limits(), patch=patch)


def test_another_lamp_is_no_harm_where_a_patch_shows_it() -> None:
    assert offered(found(1.0, LAMP, None), limits())[0] == "damage"  # nothing tells lamp from dye
    with_patch = found(1.0, LAMP, Patch(CARD))
    assert with_patch.harm.colour_median < 1.0
    assert offered(with_patch, limits())[0] == "no-change"
    down, right = MOVED
    left, top, wide, high = CARD
    apart = Patch(CARD, (left + right, top + down, wide, high))
    assert found(1.0, LAMP, apart).harm.colour_median < 1.0


@pytest.mark.parametrize("surface", [np.array([1.0, 0.96, 0.75]), np.array([0.8, 0.8, 0.8])])
def test_a_change_of_the_surface_is_seen_through_another_lamp(surface: Any) -> None:
    """A dye that ran, and an even darkening that the surface alone could not tell from less light."""
    kept = found(surface, LAMP, Patch(CARD)).harm.colour_median
    assert kept == pytest.approx(found(surface, 1.0, Patch(CARD)).harm.colour_median, abs=0.5)
    assert kept > limits().colour_seen.value


@pytest.mark.parametrize(
    ("box", "why"),
    [((440, 50, 60, 44), "outside"), ((40, 50, 5, 5), "small"), ((200, 200, 60, 60), "even")],
)
def test_a_patch_that_cannot_be_read_is_refused(box: Any, why: str) -> None:
    with pytest.raises(CannotTell, match=why):
        found(1.0, LAMP, Patch(box))


pytest.importorskip("skimage", reason="the extra picture is not installed")
iio = pytest.importorskip("imageio.v3", reason="the extra picture is not installed")


@cache
def drawn(name: str, **kind: bool) -> tuple[Any, ...]:
    """Return before, after, the truth and what is found of a pair that several tests look at."""
    before, after, true = made(name, np.random.default_rng(20), **kind)
    return before, after, true, compare(before, after, limits())


@pytest.mark.parametrize(
    ("name", "kind"), [("gravel", {}), ("chelsea", {"patch": True}), ("grass", {"colour": True})]
)
def test_the_promises_hold_on_a_drawn_pair(name: str, kind: dict[str, bool]) -> None:
    _, _, true, found = drawn(name, **kind)
    kept = judged(found, true)
    assert all(kept.values()), kept
    assert (offered(found, limits())[0] == "damage") is bool(kind)


def test_what_stayed_is_counted_on_a_calm_ground() -> None:
    _, _, true, found = drawn("calm")
    assert found.removal is not None
    assert judged(found, true)["removal"]
    assert found.removal.low < found.removal.share < found.removal.high


@pytest.mark.parametrize("wrong", UNANSWERABLE)
def test_a_pair_that_cannot_be_answered_is_refused(wrong: str) -> None:
    before, after, _ = made("gravel", np.random.default_rng(20), wrong)
    with pytest.raises(CannotTell):
        compare(before, after, limits())


def test_a_surface_that_lies_a_little_more_slanted_is_still_laid_over() -> None:
    before, after, true = made("grass", np.random.default_rng(20))
    middle, by = (len(after) - 1) / 2, 1 / 0.98  # foreshortened by a fiftieth, eleven degrees
    slanted = [
        ndimage.affine_transform(after[..., each], (1, by), (0, middle * (1 - by)), mode="mirror")
        for each in range(3)
    ]
    assert all(judged(compare(before, np.stack(slanted, axis=-1), limits()), true).values())


def test_a_surface_that_is_smooth_beside_its_spots_is_answered() -> None:
    """What changed in a few places must not speak for the likeness of the whole."""
    before, after, true = made("moon", np.random.default_rng([11, 4]))
    assert all(judged(compare(before, after, limits()), true).values())


def test_whole_numbers_of_eight_bits_tell_the_same_and_a_glance_need_not_be_sought_again() -> None:
    before, after, true, _ = drawn("gravel")
    eight = [(255 * each).round().astype(np.uint8) for each in (before, after)]
    first, near = glance(*eight, limits())
    assert first.vanished
    found = compare(*eight, limits(), near=near)
    assert all(judged(found, true).values())
    assert max(marked(*eight, found, longest=200)[0].shape) <= 200


def test_large_photos_are_glanced_at_small_and_then_compared_whole(tmp_path: Path) -> None:
    before, after, true = made("gravel", np.random.default_rng(20))
    for name, picture in (("a.jpg", before), ("b.jpg", after)):
        larger = ndimage.zoom((255 * picture).round().astype(np.uint8), (2.6, 2.6, 1), order=1)
        iio.imwrite(tmp_path / name, larger, quality=95)
    told: list[str] = []
    found = measured(shipped(), (tmp_path / "a.jpg", tmp_path / "b.jpg"), glanced=told.append).found
    assert told[0].startswith("at a glance: ")
    assert "larger spots left" in told[0]
    assert abs(len(found.vanished) - len(true.gone)) <= 1
    assert abs(len(found.appeared) - len(true.new)) <= 1


def test_what_came_is_marked_where_it_lies_in_the_second_photo() -> None:
    before, after, _, found = drawn("gravel")
    for spot in found.appeared:
        row, column = (round(each) for each in found.placed_after(spot.row, spot.column))
        around = after[max(0, row - 40) : row + 40, max(0, column - 40) : column + 40]
        middle = np.median(after[row - 1 : row + 2, column - 1 : column + 2], axis=(0, 1))
        assert np.abs(middle - np.median(around, axis=(0, 1))).max() > 0.08  # a spot lies there
    sheet = side_by_side(*marked(before, after, found))
    assert sheet.shape[1] > before.shape[1] + after.shape[1]
    plain = np.concatenate([before, np.ones((512, 8, 3)), after], axis=1)
    assert np.abs(sheet / 255 - plain).max() > 0.3


@pytest.mark.parametrize(("period", "slope"), [(23.7, 0.03), (11.3, 1.2), (61.0, -0.2)])
def test_the_scale_comes_from_evenly_ruled_lines(period: float, slope: float) -> None:
    rows, columns = np.mgrid[:600, :900]
    along = rows * np.sin(slope) + columns * np.cos(slope)
    noise = np.random.default_rng(1).normal(0, 0.05, rows.shape)
    picture = np.where(along % period < period / 8, 0.2, 0.8) + noise
    found = scale_from_ruling(picture.astype(np.float32), 10.0)
    assert found.um_per_px == pytest.approx(10.0 / period, rel=1e-3)
    with pytest.raises(CannotTell):
        scale_from_ruling(noise.astype(np.float32), 10.0)


def test_the_command_says_what_left_and_names_a_broken_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    for name, picture in zip("ab", made("grass", np.random.default_rng(20))[:2], strict=True):
        iio.imwrite(tmp_path / f"{name}.png", (picture * 255).round().astype(np.uint8))
    (tmp_path / "c.png").write_bytes(b"no picture")
    both = ["compare", str(tmp_path / "a.png"), str(tmp_path / "b.png")]
    assert main([*both, "--json", "--marked", str(tmp_path / "m.png")]) == 0
    told = capsys.readouterr()
    assert abs(len(json.loads(told.out)["vanished"]) - 14) <= 1
    assert iio.imread(tmp_path / "m.png").shape[1] > 1024
    assert main(["compare", str(tmp_path / "a.png"), str(tmp_path / "c.png")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
