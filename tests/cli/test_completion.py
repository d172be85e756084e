"""Shell completion is made from the parser, and bash itself completes with it."""

from __future__ import annotations

import shutil
import subprocess
from pathlib import Path

import pytest

from triage.cli import commands, main


def script(shell: str, capsys: pytest.CaptureFixture[str]) -> str:
    assert main(["completion", shell]) == 0
    return capsys.readouterr().out


def completed(text: str, line: str, folder: Path) -> list[str]:
    """What bash offers for the last word of a line; an empty last word is what comes next."""
    words = line.split(" ")
    quoted = " ".join(f"'{word}'" for word in words)
    code = f"{text}\nCOMP_WORDS=({quoted})\nCOMP_CWORD={len(words) - 1}\n_shtab_triage\nprintf '%s\\n' \"${{COMPREPLY[@]}}\"\n"
    done = subprocess.run(
        ["bash", "-u", "-c", code], capture_output=True, text=True, check=False, cwd=folder
    )
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""
    return done.stdout.split()


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("triage pl", ["plan"]),
        ("triage plan x --js", ["--json"]),
        ("triage record x --outcome no", []),
        ("triage sheet --format h", ["html"]),
        ("triage mix --basis w", ["w/w", "w/v"]),
        ("triage completion f", ["fish"]),
        ("triage --vers", ["--version"]),
        ("triage plan bum", ["bumblebee.yaml"]),
    ],
)
def test_bash_completes(
    line: str, wanted: list[str], tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "bumblebee.yaml").write_text("", encoding="utf-8")
    assert sorted(completed(script("bash", capsys), line, tmp_path)) == sorted(wanted)


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
def test_bash_offers_every_command(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    offered = completed(script("bash", capsys), "triage ", tmp_path)
    assert set(commands()) <= set(offered)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_script_can_be_read_by_its_shell(shell: str, capsys: pytest.CaptureFixture[str]) -> None:
    text = script(shell, capsys)
    assert all(name in text for name in commands())
    if shutil.which(shell) is None:
        return
    done = subprocess.run([shell, "-n"], input=text, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr


def test_unknown_shell_is_one_line(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["completion", "tcsh"]) == 2
    assert "triage completion --help" in capsys.readouterr().err
