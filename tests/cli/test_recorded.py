"""Small things of the record that are told: what is missing in it, a folder that cannot be made."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from tests.support.running import Runner, runner

ROOT = Path(__file__).resolve().parents[2]
CASE = "bumblebee-plate-3"


@pytest.fixture
def triage(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Runner:
    return runner(tmp_path, monkeypatch, capsys)


def test_an_attempt_missing_from_the_middle_is_told(tmp_path: Path, triage: Runner) -> None:
    cases = tmp_path / "cases"
    shutil.copytree(ROOT / "cases", cases)
    for _ in range(3):
        plan = triage("plan", CASE, "--json").stdout
        found = re.search(r'"id": "(f\d-[a-z0-9-]+)"', plan)
        assert found
        words = ("--outcome", "no-change", "--observed", "seen", "--step", found.group(1))
        assert triage("record", CASE, *words).returncode == 0
    path = cases / f"{CASE}.yaml"
    text = path.read_text("utf-8")
    assert "No longer in the record" not in triage("plan", CASE).stdout
    ids = re.findall(r"(?m)^ *- id: (a\d+)$", text)
    gone = ids[-2]
    cut = re.sub(rf"(?ms)^( *)- id: {gone}$.*?(?=^\1- id: {ids[-1]}$)", "", text)
    assert cut != text
    path.write_text(cut, "utf-8")
    told = " ".join(triage("plan", CASE).stdout.split())
    assert f"No longer in the record: attempt {gone}." in told


def test_a_folder_that_cannot_be_made_is_one_line(tmp_path: Path, triage: Runner) -> None:
    (tmp_path / "file").write_text("not a folder")
    told = triage("new", "a beetle", "--cases", str(tmp_path / "file" / "cases"))
    assert told.returncode == 2
    assert told.stderr.count("\n") == 1
    assert "the folder cannot be made" in told.stderr
