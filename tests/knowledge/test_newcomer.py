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

from triage.cli import main

ROOT = Path(__file__).resolve().parents[2]

# All of it is invented for this test. The first addition is one file and no more: an owner's way to
# put a fact in. What it is taken from is the owner's own practice.
DEPOSIT = """\
id: wall-speck
name: splash of wall plaster
looks: Dull white specks with a sharp edge that sit on top of hairs and bridge them.
speaks_for: A drop of water darkens it and it turns soft.
kind: bound
confused_with: [lime-crust, natural-bloom]
leave_it: A speck out of the picture stays where it is.
source: common-practice

signs:
  texture-crust: 0.4
  water-drop-swells: 0.6
  symmetry-irregular: 0.2
  colour-white: {weight: 0.4, because: Wall plaster is white., source: common-practice}
  colour-brown-black: -1
  colour-mixed-grains: -1
  sheen-wet-gloss: -1
  chalky-when-wiped:
    weight: 0.6
    when:
      - finding: {id: $f, dry-brush: crumbles, colour: white, texture: crust}
    because: A white crust that crumbles to chalk is plaster.
    source: common-practice
    cases:
      - {given: {finding: {dry-brush: crumbles, colour: white, texture: crust}}, expect: fires}
      - {given: {finding: {dry-brush: smears, colour: white, texture: crust}}, expect: silent}
      - {given: {finding: {dry-brush: crumbles, colour: grey, texture: crust}}, expect: silent}
      - {given: {finding: {dry-brush: crumbles, colour: white, texture: paste}}, expect: silent}

ladder:
  - method: [puff-air, pick-dry, water-dab]
    because: A speck of plaster is picked off, or softened with a drop of water.
    source: common-practice
    cases:
      - {given: {reading: {deposit: wall-speck, standing: settled}, method: pick-dry}, expect: fires}
      - {given: {reading: {deposit: wall-speck, standing: open}, method: pick-dry}, expect: silent}
      - {given: {reading: {deposit: mud, standing: settled}}, expect: silent}

cases:
  - zone: elytra
    taxon: beetles
    specimen: {age: since-1990, mouldy-smell: no}
    signs:
      colour: white
      texture: crust
      dry-brush: crumbles
      water-drop: swells
      symmetry: irregular
      smell: none
      damp-before: no
"""
# The second one brings an agent, a method and an interlock as well.
SOURCE = """
- id: newcomer-note
  kind: published
  title: Notes on plaster in an invented gallery
  section: page 3
  year: 2026
  read: whole
"""
AGENT = """\
id: citrate-buffer
name: citrate buffer, neutral
agent_class: salt
form: solution
status: checked
water: mixes
strength_basis: w/v
source: newcomer-note
vapour_share: {value: 0, unit: "1", source: newcomer-note}
no_limit_because: No authority of this list sets a limit for a citrate solution.
disposal:
  - {text: Rinse it away with plenty of water., source: newcomer-note}
"""
METHOD = """
- id: citrate-dab
  name: citrate dab on plaster
  stage: clean
  technique: dab
  agent: citrate-buffer
  with: [{agent: water-distilled}]
  strength: {value: 2, unit: "% w/v"}
  temp_c: {start: 20, most: 25}
  dwell_s: {start: 20, most: 60}
  passes: 2
  amount: {typical_ml: 0.1, least_ml: 0.02}
  tool: single hair, filter paper
  do:
    - Set one drop of the buffer on the speck.
    - Draw it off with a paper point after 20 s.
  success: The speck is soft and comes away with the paper.
  stop_signs: [colour-moves, gloss-or-beading-lost, white-after-drying, three-unchanged]
  rinse: [distilled water three times]
  drying: Blot, then 30 min in moving air.
  needs: [filter-paper]
  harshness:
    mechanical: {grade: 2, because: drop and blot, source: newcomer-note}
    chemical: {grade: 2, because: neutral salt solution, source: newcomer-note}
    person: {grade: 0, because: a drop of a harmless salt, source: newcomer-note}
  source: newcomer-note
"""
FORBID = """
- id: forbid-citrate-on-lens
  when:
    - finding: {id: $f, zone: $z}
    - zone: {id: $z, surface: lens}
  then: {forbid: {finding: $f, method: [citrate-dab]}}
  because: Citrate is not known to spare the coat of the lenses.
  source: newcomer-note
  cases:
    - {given: {finding: {id: f1, zone: compound-eye}, method: citrate-dab}, expect: fires}
    - {given: {finding: {id: f1, zone: elytra}, method: citrate-dab}, expect: silent}
"""
CASE = """\
format: 1
id: plaster
title: Beetle from the gallery
taxon: beetles
answers:
  worth-it: yes
  photographed-before: yes
  whole: whole
  lacquered: no
  old-poison-signs: no
  age: since-1990
  live-pest-signs: no
  urticating-hairs: no
  mouldy-smell: no
  size: large
  cracks: none
  missing-parts: none
  pest-holes: none
  pin: none
  hydration: supple
  joints-stuck: none
  relaxed-before: never
  old-ethanol-strong: no
  pollen-wanted: no
findings:
- {id: f1, zone: elytra, named: wall-speck}
- {id: f2, zone: compound-eye, named: wall-speck}
attempts: []
"""


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


def test_one_file_adds_a_deposit(
    copy: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Checked, recognised without its name, offered, asked about: nothing else is touched."""
    assert main(["check", "--rules", str(copy)]) == 0, capsys.readouterr().err
    assert "no fault" in capsys.readouterr().out
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
            "-k", "wall-speck or (whole or every or stubborn) and not slow", *(str(here / n) for n in names),
        ],
        cwd=ROOT,
        env={**os.environ, "TRIAGE_TEST_RULES": str(copy), "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 0, done.stdout[-3000:] + done.stderr[-1000:]
    assert int(re.search(r"(\d+) passed", done.stdout)[1]) > 15


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("  texture-crust: 0.4", "  texture-crusts: 0.4", 'unknown sign "texture-crusts"'),
        ("id: wall-speck", "id: wall-spec", 'the file is named "wall-speck"'),
        ("[puff-air, pick-dry,", "[puff-air, pik-dry,", 'unknown method "pik-dry"'),
        ("    taxon: beetles", "    taxon: beetle", 'unknown taxon "beetle"'),
    ],
)
def test_a_slip_in_the_one_file_is_named(
    old: str, new: str, says: str, copy: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = copy / "deposits" / "wall-speck.yaml"
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    number = text[: text.index(old)].count("\n") + 1
    assert main(["check", "--rules", str(copy)]) == 2
    lines = capsys.readouterr().err.splitlines()
    assert any(
        x.startswith(f"rules/deposits/wall-speck.yaml:{number} ") and says in x for x in lines
    ), lines


def test_an_extension_in_yaml_is_checked_and_offered(
    extended: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--rules", str(extended)]) == 0, capsys.readouterr().err
    assert "no fault" in capsys.readouterr().out
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


def test_a_slip_in_the_extension_is_named(
    extended: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = extended / "methods" / "newcomer.yaml"
    text = path.read_text(encoding="utf-8").replace("agent: citrate-buffer", "agent: citrate-bufer")
    path.write_text(text, encoding="utf-8")
    assert main(["check", "--rules", str(extended)]) == 2
    line = capsys.readouterr().err.strip()
    number = text[: text.index("agent: citrate-bufer")].count("\n") + 1
    assert line.startswith(f'rules/methods/newcomer.yaml:{number} method "citrate-dab": ')
    assert 'did you mean "citrate-buffer"?' in line
