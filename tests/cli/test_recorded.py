"""Small things that are told: what is missing, not in stock, not used here, cannot be made."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

from tests.support.knowledge import CASES
from tests.support.running import Runner

CASE = "bumblebee-plate-3"


def test_an_attempt_missing_from_the_middle_is_told(tmp_path: Path, triage: Runner) -> None:
    cases = tmp_path / "cases"
    shutil.copytree(CASES, cases)
    step = json.loads(triage("plan", CASE, "--json").stdout)["steps"][0]["id"]
    for _ in range(3):
        words = ("--outcome", "not-done", "--observed", "seen", "--step", step)
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


def test_a_mix_of_what_no_method_uses_begins_with_the_warning_and_the_reason(
    triage: Runner,
) -> None:
    told = triage("mix", "hypochlorite", "--to", "1", "--stock", "5", "--ml", "100").stdout
    words = " ".join(told.split())
    warning, reason = words.index("listed only to be refused"), words.index("rusts pins")
    assert words.startswith("WARNING")
    assert warning < reason < words.index("chloramine gas") < words.index("Measure 18.7 mL")
    # What methods use is mixed without one.
    assert (
        "WARNING"
        not in triage("mix", "ethanol", "--to", "70", "--stock", "96", "--ml", "10").stdout
    )


def test_what_is_not_in_stock_is_marked_and_an_unknown_strength_is_asked_before_a_mix(
    triage: Runner, tmp_path: Path
) -> None:
    cases = tmp_path / "cases"
    cases.mkdir()
    shutil.copy(CASES / "bumblebee-plate-3.yaml", cases)
    stock = "room: {control: hood, volume_m3: 30}\nstock: [{agent: ethanol}]\n"
    (cases / "bench.yaml").write_text(f"format: 1\n{stock}")
    plan = json.loads(triage("plan", "bumblebee-plate-3", "--json").stdout)
    lines = [line for step in plan["steps"] for line in step["make_up"]]
    assert {line["agent"] for line in lines if "NOT IN STOCK" not in line["sentence"]} == {
        "ethanol"
    }
    asked = [line["sentence"] for line in lines if line["agent"] == "ethanol"]
    assert asked
    assert all(said.startswith("How strong is your ethanol?") for said in asked)
    told = triage("mix", "isopropanol", "--to", "70", "--stock", "99.5", "--ml", "10").stdout
    assert told.startswith("isopropanol (2-propanol) is not in stock.")
