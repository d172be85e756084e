"""Someone who knows insects but no Python adds to a copy of the rules: one file, in YAML."""

import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support.knowledge import ROOT
from tests.support.running import Runner, process

# All that stands in the folder beside this file is invented. The first addition is one file and no
# more: an owner's way to put a fact in. What it is taken from is the owner's own practice. The second
# one brings an agent, a method and an interlock as well.
DEPOSIT, AGENT, SOURCE, METHOD, FORBID, CASE = (
    (Path(__file__).with_name("newcomer") / f"{name}.yaml").read_text(encoding="utf-8")
    for name in ("wall-speck", "citrate-buffer", "sources", "methods", "forbid", "plaster")
)


@pytest.fixture
def copy(tmp_path: Path) -> Path:
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


Run = Callable[..., str]


@pytest.fixture
def run(triage: Runner) -> Run:
    def said(rules: Path, *words: str) -> str:
        return triage(*words, "--rules", str(rules)).said()

    return said


def test_one_file_adds_a_deposit(
    copy: Path, tmp_path: Path, run: Run, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Checked, recognised without its name, offered, asked about: nothing else is touched."""
    assert "no fault" in run(copy, "check")
    monkeypatch.setattr(CHECK, lambda _: None)
    path = tmp_path / "plaster.yaml"
    path.write_text(CASE.replace("named: wall-speck", SEEN), encoding="utf-8")
    plan = json.loads(run(copy, "plan", str(path), "--json"))
    assert plan["findings"][0]["deposit"] == "wall-speck"
    rungs = [s for s in plan["steps"] if s["zone"] == "elytra"]
    assert "offer-wall-speck" in {rule for step in rungs for rule in step["rules"]}
    told = run(copy, "explain", str(path))
    assert "A white crust that crumbles to chalk is plaster." in told
    assert "Wall plaster is white." in told
    seen = "signs: {colour: white, texture: crust}"
    path.write_text(CASE.replace("named: wall-speck", seen), encoding="utf-8")
    assert run(copy, "ask", str(path)).strip()


def test_what_passes_check_passes_the_tests_of_entries(copy: Path) -> None:
    """The tests in this folder that look at deposits and at rules, run on the copy."""
    which = (
        "wall-speck or whole or every or stubborn or "
        "(test_entries or test_rule_cases) and not reads_the_same"
    )
    names = ("entries", "recognition", "rule_cases", "promises_kept")
    files = [str(Path(__file__).with_name(f"test_{name}.py")) for name in names]
    words = ("-m", "pytest", "-q", "-p", "no:cacheprovider", "-n", "0", "-k", which, *files)
    done = process(*words, home=ROOT, TRIAGE_TEST_RULES=str(copy))
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]
    assert int(re.search(r"(\d+) passed", done.stdout)[1]) > 15


def test_an_extension_in_yaml_is_checked_and_offered(
    extended: Path, tmp_path: Path, run: Run, triage: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert "no fault" in run(extended, "check")
    monkeypatch.setattr(CHECK, lambda _: None)
    case, bench = str(tmp_path / "plaster.yaml"), tmp_path / "bench.yaml"
    room = "room: {control: hood, volume_m3: 60, place: lab}"
    bench.write_text(f"format: 1\n{room}\n", encoding="utf-8")
    plan = json.loads(run(extended, "plan", case, "--bench", str(bench), "--json"))
    (step,) = (s for s in plan["steps"] if s["method"] == "citrate-dab")
    places = (step["zone"], step["deposit"], step["agent"])
    assert places == ("elytra", "wall-speck", "citrate-buffer")
    assert step["success"].startswith("The speck is soft")
    assert step["stop_points"]
    assert "offer-wall-speck" in step["rules"]
    ladder = [s["method"] for s in plan["steps"] if s["zone"] == "elytra"]
    assert ladder.index("puff-air") < ladder.index("citrate-dab")
    barred = {(e["method"], e["zone"], e["rule"]) for e in plan["excluded"]}
    assert ("citrate-dab", "compound-eye", "forbid-citrate-on-lens") in barred
    # The carried rules know nothing of it.
    told = triage("plan", case)
    assert told.returncode == 2
    assert "wall-speck" in told.stderr
