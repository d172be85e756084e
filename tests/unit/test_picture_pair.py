"""Two photographs with known truth: a sample of ``python -m tests.proof.pictures``."""

from __future__ import annotations

import json
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from scipy import ndimage

from tests.proof.pictures import UNANSWERABLE, judged, limits, made
from tests.support.knowledge import shipped
from triage.cli import main
from triage.picture.files import marked, side_by_side
from triage.picture.pair import compare, glance
from triage.picture.register import CannotTell
from triage.picture.scale import scale_from_ruling
from triage.service.measuring import measured
from triage.show.compared import offered

pytest.importorskip("skimage", reason="the extra picture is not installed")
iio = pytest.importorskip("imageio.v3", reason="the extra picture is not installed")


@cache
def gravel() -> tuple[Any, ...]:
    """Return before, after, the truth and what is found of the pair that several tests look at."""
    before, after, true = made("gravel", np.random.default_rng(20))
    return before, after, true, compare(before, after, limits())


@pytest.mark.parametrize(
    ("name", "kind"), [("gravel", {}), ("chelsea", {"patch": True}), ("grass", {"colour": True})]
)
def test_the_promises_hold_on_a_drawn_pair(name: str, kind: dict[str, bool]) -> None:
    before, after, true = made(name, np.random.default_rng(20), **kind)
    found = gravel()[3] if name == "gravel" else compare(before, after, limits())
    kept = judged(found, true)
    assert all(kept.values()), kept
    assert (offered(found, limits())[0] == "damage") is bool(kind)


def test_what_stayed_is_counted_on_a_calm_ground() -> None:
    before, after, true = made("calm", np.random.default_rng(20))
    found = compare(before, after, limits())
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
    before, after, true, _ = gravel()
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
    before, after, _, found = gravel()
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
