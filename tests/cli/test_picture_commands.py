"""The question whether a speck shows, at the command line and with a set-up of the bench."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from triage.cli import main

SETUP = "format: 1\nsetups:\n- name: ten\n  magnification: 10\n  na: 0.28\n  pitch_um: 3.76\n  sensor_mm: 35.7\n  picture_mm: 600\n  distance_mm: 500\n  tube: kept\n"


@pytest.fixture
def bench(tmp_path: Path) -> list[str]:
    (tmp_path / "bench.yaml").write_text(SETUP, encoding="utf-8")
    return ["--bench", str(tmp_path / "bench.yaml"), "--cases", str(tmp_path)]


def test_below_what_shows_the_answer_is_to_accept_it(
    bench: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["shows", *bench, "--setup", "ten", "--grain", "0.5"]) == 0
    assert "will not show: accept" in capsys.readouterr().out
    assert main(["shows", *bench, "--setup", "ten", "--grain", "50"]) == 0
    assert "accept" not in capsys.readouterr().out


def test_a_figure_on_the_command_line_stands_before_the_set_up(
    bench: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["shows", *bench, "--setup", "ten", "--f-number", "20", "--json"]) == 0
    figures = {each["name"]: each for each in json.loads(capsys.readouterr().out)["figures"]}
    assert figures["resolution of the lens"]["note"] == "aperture 0.25"  # 10 / 40


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--setup", "tan"], "unknown set-up"),
        (["--na", "0.28"], "not known: magnification"),
        (["--setup", "ten", "--grain", "-1"], "size of the grain"),
        (["--setup", "ten", "--na", "0.2", "--f-number", "4"], "give one of them"),
    ],
)
def test_bad_input_is_one_line(
    bench: list[str], capsys: pytest.CaptureFixture[str], words: list[str], said: str
) -> None:
    assert main(["shows", *bench, *words]) == 2
    err = capsys.readouterr().err
    assert said in err
    assert err.count("\n") == 1
