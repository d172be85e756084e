"""Looking at the demo cases of a checkout changes nothing that stands in version control."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from tests.support.running import ROOT, runner


def in_version_control() -> list[Path]:
    """Return the files of the demo folder that are in version control."""
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("this is no checkout, or git is not at hand")
    words = [git, "-C", str(ROOT), "ls-files", "-z", "cases"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"git does not read this checkout: {done.stderr.strip()}")
    return [ROOT / name for name in done.stdout.split("\0") if name]


def test_looking_at_the_demo_cases_changes_no_file_in_version_control(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    cases, home = tmp_path / "cases", tmp_path / "home"
    home.mkdir()
    tracked = in_version_control()
    for path in tracked:
        target = cases / path.relative_to(ROOT / "cases")
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    before = {path: path.read_bytes() for path in sorted(cases.rglob("*")) if path.is_file()}
    assert cases / "bumblebee-plate-3.yaml" in before
    run = runner(home, monkeypatch, capsys)
    for words in (["list"], ["plan", "bumblebee-plate-3"], ["day"], ["history"]):
        done = run(*words, "--cases", str(cases))
        assert done.returncode == 0, done.stderr
    assert {path: path.read_bytes() for path in before} == before
