"""Small things that are told: what is missing, not in stock, not used here, or a hundredfold."""

import json
import re
from pathlib import Path
from typing import Any

from tests.support.knowledge import DEMO
from tests.support.running import Runner
from triage.case.store import load_case
from triage.plan.model import Step
from triage.service.working import far_more

CASE = "bumblebee-plate-3"


def test_an_attempt_missing_from_the_middle_is_told(demo: Path, triage: Runner) -> None:
    step = json.loads(triage("plan", CASE, "--json").stdout)["steps"][0]["id"]
    for _ in range(3):
        words = ("--outcome", "not-done", "--observed", "seen", "--step", step)
        assert triage("record", CASE, *words).returncode == 0
    path = demo / f"{CASE}.yaml"
    text = path.read_text("utf-8")
    assert "No longer in the record" not in triage("plan", CASE).stdout
    *_, gone, last = re.findall(r"(?m)^ *- id: (a\d+)$", text)
    cut = re.sub(rf"(?ms)^( *)- id: {gone}$.*?(?=^\1- id: {last}$)", "", text)
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


def mixed(triage: Runner, words: str) -> str:
    return " ".join(triage("mix", *words.split()).stdout.split())


def test_a_mix_of_what_no_method_uses_begins_with_the_warning_and_the_reason(
    triage: Runner,
) -> None:
    words = mixed(triage, "hypochlorite --to 1 --stock 5 --ml 100")
    warning, reason = words.index("listed only to be refused"), words.index("rusts pins")
    assert words.startswith("WARNING")
    assert warning < reason < words.index("chloramine gas") < words.index("Measure 18.7 mL")
    # What methods use is mixed without one.
    assert "WARNING" not in mixed(triage, "ethanol --to 70 --stock 96 --ml 10")


def test_what_is_not_in_stock_is_marked_and_an_unknown_strength_is_asked_before_a_mix(
    triage: Runner, demo: Path
) -> None:
    stock = "room: {control: hood, volume_m3: 30}\nstock: [{agent: ethanol}]\n"
    (demo / "bench.yaml").write_text(f"format: 1\n{stock}")
    plan = json.loads(triage("plan", CASE, "--json").stdout)
    lines = [(line["agent"], line["sentence"]) for s in plan["steps"] for line in s["make_up"]]
    assert {agent for agent, said in lines if "NOT IN STOCK" not in said} == {"ethanol"}
    asked = [said for agent, said in lines if agent == "ethanol"]
    assert asked
    assert all(said.startswith("How strong is your ethanol?") for said in asked)
    told = mixed(triage, "isopropanol --to 70 --stock 99.5 --ml 10")
    assert told.startswith("isopropanol (2-propanol) is not in stock.")


def test_a_hundredfold_is_recorded_only_if_the_person_stands_by_it(
    triage: Runner, demo: Path
) -> None:
    def fit(path: Path) -> dict[str, Any] | None:
        plan = json.loads(triage("plan", path.stem, "--json").stdout)
        steps = [s for s in plan["steps"] if s["amount_ml"] and not s["hold"]]
        return steps[0] if steps and not plan["held"] else None

    # A demo case that plans a liquid.
    path, step = next((demo / p.name, found) for p in DEMO if (found := fit(p)))
    outcome, much = next(iter(step["outcomes"])), f"{step['amount_ml'] * 100:g}"
    words = ("record", path.stem, "--step", step["id"], "--outcome", outcome, "--minutes", "1")
    before = len(load_case(path).attempts)
    refused = triage(*words, "--ml", much)
    assert refused.returncode == 2
    assert f"planned {step['amount_ml']:g} mL, you wrote" in refused.stderr
    assert "--yes" in refused.stderr
    assert len(load_case(path).attempts) == before
    assert triage(*words, "--ml", much, "--yes").returncode == 0
    assert len(load_case(path).attempts) == before + 1


def test_ten_times_the_amount_needs_no_word() -> None:
    step = Step.__new__(Step)
    object.__setattr__(step, "amount_ml", 0.1)
    assert far_more(step, 1.0) == ""
    assert far_more(step, 10.0) == "planned 0.1 mL, you wrote 10 mL"
