"""A hundredfold of the planned amount is asked about once, and never recorded in silence."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from tests.support.knowledge import CASES
from tests.support.running import Runner
from triage.case.store import load_case
from triage.plan.model import Step
from triage.service.working import far_more


def test_a_hundredfold_is_recorded_only_if_the_person_stands_by_it(
    triage: Runner, tmp_path: Path
) -> None:
    folder = tmp_path / "work"
    shutil.copytree(CASES, folder)
    for path in sorted(folder.glob("*.yaml")):
        if path.name == "bench.yaml":
            continue
        plan = json.loads(triage("plan", path.stem, "--cases", str(folder), "--json").stdout)
        step = next((s for s in plan["steps"] if s["amount_ml"] and not s["hold"]), None)
        if step is not None and not plan["held"]:
            break
    else:
        pytest.fail("no demo case plans a liquid")
    words = (
        "record",
        path.stem,
        "--cases",
        str(folder),
        "--step",
        step["id"],
        "--outcome",
        next(iter(step["outcomes"])),
        "--minutes",
        "1",
        "--ml",
    )
    before = len(load_case(path).attempts)
    refused = triage(*words, f"{step['amount_ml'] * 100:g}")
    assert refused.returncode == 2
    assert f"planned {step['amount_ml']:g} mL, you wrote" in refused.stderr
    assert "--yes" in refused.stderr
    assert len(load_case(path).attempts) == before
    assert triage(*words, f"{step['amount_ml'] * 100:g}", "--yes").returncode == 0
    assert len(load_case(path).attempts) == before + 1


def test_ten_times_the_amount_needs_no_word() -> None:
    step = Step.__new__(Step)
    object.__setattr__(step, "amount_ml", 0.1)
    assert far_more(step, 1.0) == ""
    assert far_more(step, 10.0) == "planned 0.1 mL, you wrote 10 mL"
