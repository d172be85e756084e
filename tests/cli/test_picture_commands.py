"""The question whether a speck shows, at the command line and with a set-up of the bench."""

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from tests.proof.pictures import made
from tests.support.knowledge import CASES
from tests.support.running import Runner
from triage.case.store import load_case
from triage.picture.pair import VERSION
from triage.show.compared import measured_words

CASE = "bumblebee-plate-3"
SETUP = "format: 1\nsetups:\n- name: ten\n  magnification: 10\n  na: 0.28\n  pitch_um: 3.76\n  sensor_mm: 35.7\n  picture_mm: 600\n  distance_mm: 500\n  tube: kept\n"


@pytest.fixture
def bench(tmp_path: Path) -> list[str]:
    (tmp_path / "bench.yaml").write_text(SETUP, encoding="utf-8")
    return ["--bench", str(tmp_path / "bench.yaml"), "--cases", str(tmp_path)]


def test_below_what_shows_the_answer_is_to_accept_it(bench: list[str], triage: Runner) -> None:
    words = ("shows", *bench, "--setup", "ten", "--grain")
    assert "will not show: accept" in triage(*words, "0.5").stdout
    seen = triage(*words, "50")
    assert (seen.returncode, "accept" in seen.stdout) == (0, False)


def test_what_will_not_show_stands_first_on_the_plan(
    bench: list[str], tmp_path: Path, triage: Runner
) -> None:
    """NA 0.28 at 0.55 um tells 1.2 um apart (0.61 * 0.55 / 0.28), and an eye at 500 mm sees less."""
    shutil.copy(CASES / f"{CASE}.yaml", tmp_path)
    assert triage("see", CASE, *bench, "--finding", "f1", "--size-um", "1.1").returncode == 0
    first = json.loads(triage("plan", CASE, *bench, "--json").stdout)["notices"][0]
    assert first["rule"] == "will-not-show"
    assert "1.1 um will not show" in first["text"]
    assert "spots from 1.2 um" in first["text"]


def test_the_figures_of_the_photos_are_kept_and_shown_again(tmp_path: Path, triage: Runner) -> None:
    """In the record, in what worked, in the history and with the marked pair on the sheet."""
    iio = pytest.importorskip("imageio.v3", reason="the extra picture is not installed")
    shutil.copy(CASES / f"{CASE}.yaml", tmp_path)
    for name, picture in zip("ab", made("calm", np.random.default_rng(20))[:2], strict=True):
        iio.imwrite(tmp_path / f"{name}.png", (picture * 255).round().astype(np.uint8))
    folder = ("--cases", str(tmp_path))
    step = ["--step", "f1-blot-dry", "--photo-before", "a.png", "--photo-after", "b.png"]
    record = ["record", CASE, *folder, *step, "--measure", "--marked", "m.png"]
    offered = triage(*record)
    assert offered.returncode == 2  # it only offers an outcome: nothing is written
    assert "this speaks for: better" in offered.stdout
    assert "give --outcome" in offered.stderr
    assert not (tmp_path / "m.png").exists()
    assert triage(*record, "--outcome", "better").returncode == 0
    kept = load_case(tmp_path / f"{CASE}.yaml").attempts[-1].measured
    assert (kept["left"], kept["came"], kept["stayed"]) == (14, 5, 6)  # as drawn
    assert kept["method"] == VERSION
    assert kept["removed"][0] == pytest.approx(1 - 11 / 20)
    for words in (["worked", CASE], ["worked"], ["history"], ["sheet", CASE]):
        told = " ".join(triage(*words, *folder).stdout.split())
        assert "45 % gone" in told, words
        assert "colour moved" in told, words
    sheet = ("sheet", CASE, *folder, "--format", "html")
    assert "data:image/png;base64," in triage(*sheet).stdout
    again = triage(*record, "--outcome", "better")
    assert again.returncode == 2  # the marked pair is never written over
    assert "not there yet" in again.stderr
    assert len(load_case(tmp_path / f"{CASE}.yaml").attempts) == 1
    (tmp_path / "m.png").unlink()  # a photo that is gone takes no figure with it
    page = triage(*sheet).stdout
    assert "data:image" not in page
    assert "45 % gone" in page


@pytest.mark.parametrize(
    "kept", [{"removed": "all"}, {"removed": [1, "x", 2]}, {"left": ["?"]}, {"marked": 3}]
)
def test_figures_edited_by_hand_are_left_out_where_they_are_none(kept: dict[str, Any]) -> None:
    assert measured_words({**kept, "colour_median": 0.5}) == "by the photos: colour moved 0.5"


def test_a_figure_on_the_command_line_stands_before_the_set_up(
    bench: list[str], triage: Runner
) -> None:
    told = triage("shows", *bench, "--setup", "ten", "--f-number", "20", "--json")
    figures = {each["name"]: each for each in json.loads(told.stdout)["figures"]}
    assert figures["resolution of the lens"]["note"] == "aperture 0.25"  # 10 / 40


@pytest.mark.parametrize(
    ("words", "said"),
    [
        ("--setup tan", "unknown set-up"),
        ("--na 0.28", "not known: magnification"),
        ("--setup ten --grain -1", "size of the grain"),
        ("--setup ten --na 0.2 --f-number 4", "give one of them"),
    ],
)
def test_bad_input_is_one_line(bench: list[str], triage: Runner, words: str, said: str) -> None:
    told = triage("shows", *bench, *words.split())
    assert (told.returncode, told.stderr.count("\n")) == (2, 1)
    assert said in told.stderr
