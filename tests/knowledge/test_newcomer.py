"""Someone who knows insects but no Python adds to a copy of the rules: one file, in YAML."""

from __future__ import annotations

import json
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.knowledge import ROOT
from triage.cli import main

# All that stands in the folder beside this file is invented. The first addition is one file and no
# more: an owner's way to put a fact in. What it is taken from is the owner's own practice. The second
# one brings an agent, a method and an interlock as well.
DEPOSIT, AGENT, SOURCE, METHOD, FORBID, CASE = (
    (Path(__file__).with_name("newcomer") / f"{name}.yaml").read_text(encoding="utf-8")
    for name in ("wall-speck", "citrate-buffer", "sources", "methods", "forbid", "plaster")
)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the rules with one file more."""
    rules = tmp_path / "rules"
    shutil.copytree(ROOT / "rules", rules)
    (rules / "deposits" / "wall-speck.yaml").write_text(DEPOSIT, encoding="utf-8")
    (tmp_path / "plaster.yaml").write_text(CASE, encoding="utf-8")
    return rules


@pytest.fixture
def extended(copy: Path) -> Path:
    """The same copy with a source, an agent, a method on the new ladder and an interlock."""
    (copy / "agents" / "citrate-buffer.yaml").write_text(AGENT, encoding="utf-8")
    for name, text in {
        "sources/newcomer.yaml": SOURCE,
        "methods/newcomer.yaml": METHOD,
        "forbid.yaml": FORBID,
    }.items():
        with (copy / name).open("a", encoding="utf-8") as stream:
            stream.write(text)
    path = copy / "deposits" / "wall-speck.yaml"
    text = path.read_text(encoding="utf-8").replace(
        "[puff-air, pick-dry, water-dab]", "[puff-air, citrate-dab]"
    )
    path.write_text(text.replace("method: pick-dry", "method: citrate-dab"), encoding="utf-8")
    return copy


SEEN = "signs: {colour: white, texture: crust, dry-brush: crumbles, water-drop: swells, symmetry: irregular}"


# That every command checks a copy as it begins, and names each slip in it, test_wrong_edits holds.
CHECK = "triage.check.whole.require_sound"


def test_one_file_adds_a_deposit(
    copy: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Checked, recognised without its name, offered, asked about: nothing else is touched."""
    assert main(["check", "--rules", str(copy)]) == 0, capsys.readouterr().err
    assert "no fault" in capsys.readouterr().out
    monkeypatch.setattr(CHECK, lambda _: None)
    path = tmp_path / "plaster.yaml"
    path.write_text(CASE.replace("named: wall-speck", SEEN), encoding="utf-8")
    assert main(["plan", str(path), "--rules", str(copy), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    assert plan["findings"][0]["deposit"] == "wall-speck"
    assert "offer-wall-speck" in {
        r for s in plan["steps"] if s["zone"] == "elytra" for r in s["rules"]
    }
    assert main(["explain", str(path), "--rules", str(copy)]) == 0
    told = capsys.readouterr().out
    assert "A white crust that crumbles to chalk is plaster." in told
    assert "Wall plaster is white." in told
    path.write_text(
        CASE.replace("named: wall-speck", "signs: {colour: white, texture: crust}"),
        encoding="utf-8",
    )
    assert main(["ask", str(path), "--rules", str(copy)]) == 0
    assert capsys.readouterr().out.strip()


def test_what_passes_check_passes_the_tests_of_entries(copy: Path) -> None:
    """The tests in this folder that look at deposits and at rules, run on the copy."""
    here = Path(__file__).parent
    names = (
        "test_entries.py",
        "test_recognition.py",
        "test_rule_cases.py",
        "test_promises_kept.py",
    )
    done = subprocess.run(
        [
            sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-n", "0",
            "-k", "wall-speck or whole or every or stubborn or (test_entries or test_rule_cases) and not reads_the_same",
            *(str(here / n) for n in names),
        ],
        cwd=ROOT,
        env={**os.environ, "TRIAGE_TEST_RULES": str(copy), "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]
    assert int(re.search(r"(\d+) passed", done.stdout)[1]) > 15


def test_an_extension_in_yaml_is_checked_and_offered(
    extended: Path,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    assert main(["check", "--rules", str(extended)]) == 0, capsys.readouterr().err
    assert "no fault" in capsys.readouterr().out
    monkeypatch.setattr(CHECK, lambda _: None)
    case = str(tmp_path / "plaster.yaml")
    bench = tmp_path / "bench.yaml"
    bench.write_text(
        "format: 1\nroom: {control: hood, volume_m3: 60, place: lab}\n", encoding="utf-8"
    )
    assert main(["plan", case, "--rules", str(extended), "--bench", str(bench), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    steps = [s for s in plan["steps"] if s["method"] == "citrate-dab"]
    assert [s["zone"] for s in steps] == ["elytra"]
    (step,) = steps
    assert step["deposit"] == "wall-speck"
    assert step["agent"] == "citrate-buffer"
    assert step["success"].startswith("The speck is soft")
    assert step["stop_points"]
    assert "offer-wall-speck" in step["rules"]
    ladder = [s["method"] for s in plan["steps"] if s["zone"] == "elytra"]
    assert ladder.index("puff-air") < ladder.index("citrate-dab")
    barred = [
        e for e in plan["excluded"] if e["method"] == "citrate-dab" and e["zone"] == "compound-eye"
    ]
    assert "forbid-citrate-on-lens" in {e["rule"] for e in barred}
    # The carried rules know nothing of it.
    assert main(["plan", case]) == 2
    assert "wall-speck" in capsys.readouterr().err
