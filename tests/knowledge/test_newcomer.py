"""Someone who knows insects but no Python adds to a copy of the rules, in YAML only."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from triage.cli import main

ROOT = Path(__file__).resolve().parents[2]

# All of it is invented for this test: a chalky crust of a gallery's plaster, and an agent for it.
DEPOSIT = """
- id: plaster-splash
  name: splash of wall plaster
  looks: Dull white specks with a sharp edge that sit on top of hairs and bridge them.
  speaks_for: A drop of water darkens it and it turns soft.
  kind: bound
  confused_with: [lime-crust, natural-bloom]
  leave_it: A speck out of the picture stays where it is.
  source: newcomer-note
"""
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
RULES = {
    "recognise.yaml": """
- id: recognise-water-drop-dissolves-plaster
  when:
    - finding: {id: $f, water-drop: dissolves, colour: white, texture: crust}
  then:
    - evidence: {finding: $f, deposit: plaster-splash, weight: 0.8}
  because: A white crust that goes soft in water may be plaster.
  source: newcomer-note
  cases:
    - {given: {finding: {water-drop: dissolves, colour: white, texture: crust}}, expect: fires}
    - {given: {finding: {water-drop: beads, colour: white, texture: crust}}, expect: silent}
""",
    "offer.yaml": """
- id: offer-plaster-splash
  when:
    - reading: {finding: $f, deposit: plaster-splash, standing: {at_least: suspected}}
  then:
    offer: {finding: $f, deposit: plaster-splash, method: [puff-air, citrate-dab]}
  because: Neutral citrate takes up plaster without acid.
  source: newcomer-note
  cases:
    - {given: {reading: {deposit: plaster-splash, standing: settled}, method: citrate-dab}, expect: fires}
    - {given: {reading: {deposit: plaster-splash, standing: open}, method: citrate-dab}, expect: silent}
""",
    "forbid.yaml": """
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
""",
}
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
- {id: f1, zone: elytra, named: plaster-splash}
- {id: f2, zone: compound-eye, named: plaster-splash}
attempts: []
"""


@pytest.fixture
def extended(tmp_path: Path) -> Path:
    copy = tmp_path / "rules"
    shutil.copytree(ROOT / "rules", copy)
    (copy / "agents" / "citrate-buffer.yaml").write_text(AGENT, encoding="utf-8")
    added = {"deposits.yaml": DEPOSIT, "sources/newcomer.yaml": SOURCE, "methods/newcomer.yaml": METHOD, **RULES}
    for name, text in added.items():
        with (copy / name).open("a", encoding="utf-8") as stream:
            stream.write(text)
    (tmp_path / "plaster.yaml").write_text(CASE, encoding="utf-8")
    return copy


def test_an_extension_in_yaml_is_checked_and_offered(
    extended: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["check", "--rules", str(extended)]) == 0, capsys.readouterr().err
    assert "no fault" in capsys.readouterr().out
    case = str(tmp_path / "plaster.yaml")
    bench = tmp_path / "bench.yaml"
    bench.write_text("format: 1\nroom: {control: hood, volume_m3: 60, place: lab}\n", encoding="utf-8")
    assert main(["plan", case, "--rules", str(extended), "--bench", str(bench), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    steps = [s for s in plan["steps"] if s["method"] == "citrate-dab"]
    assert [s["zone"] for s in steps] == ["elytra"]
    (step,) = steps
    assert step["deposit"] == "plaster-splash"
    assert step["agent"] == "citrate-buffer"
    assert step["success"].startswith("The speck is soft")
    assert step["stop_points"]
    assert "offer-plaster-splash" in step["rules"]
    ladder = [s["method"] for s in plan["steps"] if s["zone"] == "elytra"]
    assert ladder.index("puff-air") < ladder.index("citrate-dab")
    barred = [e for e in plan["excluded"] if e["method"] == "citrate-dab" and e["zone"] == "compound-eye"]
    assert "forbid-citrate-on-lens" in {e["rule"] for e in barred}
    # The carried rules know nothing of it.
    assert main(["plan", case]) == 2
    assert "plaster-splash" in capsys.readouterr().err


def test_the_reading_is_reached_without_its_name(
    extended: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "plaster.yaml"
    signs = "signs: {water-drop: dissolves, colour: white, texture: crust}"
    path.write_text(CASE.replace("named: plaster-splash", signs), encoding="utf-8")
    assert main(["plan", str(path), "--rules", str(extended), "--json"]) == 0
    plan = json.loads(capsys.readouterr().out)
    (finding,) = (f for f in plan["findings"] if f["id"] == "f1")
    assert "plaster-splash" in {finding["deposit"], *(a["deposit"] for a in finding["alternatives"])}


def test_a_slip_in_the_extension_is_named(extended: Path, capsys: pytest.CaptureFixture[str]) -> None:
    path = extended / "methods" / "newcomer.yaml"
    text = path.read_text(encoding="utf-8").replace("agent: citrate-buffer", "agent: citrate-bufer")
    path.write_text(text, encoding="utf-8")
    assert main(["check", "--rules", str(extended)]) == 2
    line = capsys.readouterr().err.strip()
    number = text[: text.index("agent: citrate-bufer")].count("\n") + 1
    assert line.startswith(f'rules/methods/newcomer.yaml:{number} method "citrate-dab": ')
    assert 'did you mean "citrate-buffer"?' in line
