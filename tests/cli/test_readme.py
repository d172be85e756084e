"""Every command of the README is run, in the order in which it stands there."""

from __future__ import annotations

import re
import shlex
import subprocess
from pathlib import Path

import pytest

from tests.support.knowledge import CASES, ROOT
from triage.cli import commands as known
from triage.cli import main

README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks() -> list[str]:
    return re.findall(r"```bash\n(.*?)```", README, re.DOTALL)


def commands(block: str) -> list[list[str]]:
    lines = [line.split(" #")[0].strip() for line in block.splitlines()]
    return [shlex.split(line) for line in lines if line.startswith("triage ")]


WALK = next(commands(block) for block in blocks() if block.startswith("triage new"))


def test_commands_run_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """In one process, because forty starts would take a minute; others test the processes."""
    monkeypatch.setenv("TRIAGE_HOME", str(tmp_path))
    monkeypatch.chdir(tmp_path)
    for words in WALK:
        code = main(words[1:])
        assert code == 0, (" ".join(words), capsys.readouterr().err)
    assert (tmp_path / "hoverfly-lid.zip").is_file()


def test_every_command_stands_in_the_readme() -> None:
    named = {words[1] for block in blocks() for words in commands(block)}
    named |= set(re.findall(r"`triage ([a-z-]+)", README)) | set(
        re.findall(r"# triage ([a-z-]+)", README)
    )
    named |= set(re.findall(r"triage (completion)", README))
    assert set(known()) - named == set()


def test_main_command_and_test_command_are_there() -> None:
    assert any("triage --demo bumblebee-plate-3" in block for block in blocks())
    assert any("-m pytest" in block for block in blocks())
    assert (CASES / "bumblebee-plate-3.yaml").is_file()


def test_ci_runs_exactly_the_test_command() -> None:
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    awk = re.search(r"command=\$\((awk .*?)\)\n", script, re.DOTALL)
    assert awk
    result = subprocess.run(
        ["bash", "-c", awk[1]], capture_output=True, text=True, check=True, cwd=ROOT
    )
    block = next(b for b in blocks() if "-m pytest" in b)
    assert result.stdout.strip() == block.strip()


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)h][^)]*)\)", README))
def test_links_of_the_readme_lead_somewhere(link: str) -> None:
    assert (ROOT / link).exists(), link
