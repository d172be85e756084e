"""Two photographs with known truth: a sample of ``python -m tests.proof.pictures``."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest

from tests.proof.pictures import UNANSWERABLE, made
from triage.cli import main
from triage.picture.pair import CannotTell, compare

pytest.importorskip("skimage", reason="the extra picture is not installed")


@pytest.mark.parametrize("name", ["gravel", "moon"])
def test_what_left_and_came_is_counted_within_a_tenth(name: str) -> None:
    before, after, gone, new, mean = made(name, np.random.default_rng(20))
    found = compare(before, after)
    assert abs(len(found.vanished) - gone) <= 0.1 * gone
    assert abs(len(found.appeared) - new) <= 0.1 * new
    assert np.mean([spot.diameter_px for spot in found.vanished]) == pytest.approx(mean, rel=0.1)
    assert found.colour_median < 1.0  # nothing was recoloured


@pytest.mark.parametrize("wrong", UNANSWERABLE)
def test_a_pair_that_cannot_be_answered_is_refused(wrong: str) -> None:
    before, after, *_ = made("gravel", np.random.default_rng(20), wrong)
    with pytest.raises(CannotTell):
        compare(before, after)


def test_the_command_says_what_left_and_names_a_broken_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    iio = pytest.importorskip("imageio.v3", reason="the extra picture is not installed")
    before, after, gone, *_ = made("grass", np.random.default_rng(20))
    for name, picture in (("a.png", before), ("b.png", after)):
        iio.imwrite(tmp_path / name, (picture * 255).round().astype(np.uint8))
    (tmp_path / "c.png").write_bytes(b"no picture")
    assert main(["compare", str(tmp_path / "a.png"), str(tmp_path / "b.png"), "--json"]) == 0
    assert abs(len(json.loads(capsys.readouterr().out)["vanished"]) - gone) <= 2
    assert main(["compare", str(tmp_path / "a.png"), str(tmp_path / "c.png")]) == 2
    assert capsys.readouterr().err.count("\n") == 1
