"""The bench by questions on the command line; keys that nothing reads are named on every plan."""

from __future__ import annotations

import io
import shutil
from pathlib import Path

import pytest

from tests.support.knowledge import CASES, shipped
from tests.support.running import Runner
from triage.case.profile import load_bench
from triage.service.benchasked import ASKED

HEALTH = list(shipped().circumstances.values())


def _typed(monkeypatch: pytest.MonkeyPatch, *lines: str) -> None:
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))


def test_health_is_asked_first_and_not_known_counts_as_yes(
    tmp_path: Path, triage: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    answers = ["yes", "perhaps", "u", *["no"] * (len(HEALTH) - 2)]
    room = {"volume_m3": "24", "control": "window", "others": "some", "name": "12"}
    words = [room.get(each.path[-1], "") for each in ASKED]
    words.insert(1, "-3")  # no air changes an hour can be below none: it is asked again
    _typed(monkeypatch, *answers, *words, "ethanl 96", "ethanol 96", "")
    told = triage("bench")
    assert told.returncode == 0, told.stderr
    bench = load_bench(tmp_path / "cases" / "bench.yaml")
    assert bench.circumstances == (HEALTH[0].id, HEALTH[1].id)
    assert (bench.room.volume_m3, bench.room.control, bench.room.others) == (24, "window", "some")
    assert bench.room.name == "12"
    assert [(b.agent, b.strength) for b in bench.stock] == [("ethanol", 96)]
    assert 'did you mean "ethanol"?' in told.stdout
    asked = [told.stdout.index(text) for text in (*(h.ask for h in HEALTH), ASKED[0].ask)]
    assert asked == sorted(asked)


def test_enter_keeps_what_stands_and_unknown_keys_stay(
    tmp_path: Path, triage: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    cases = tmp_path / "cases"
    cases.mkdir()
    (cases / "bench.yaml").write_text(
        f"format: 1\nremark: by the window\ncircumstances: [{HEALTH[-1].id}]\nroom: {{control: hood}}\n"
    )
    before = load_bench(cases / "bench.yaml")
    _typed(monkeypatch, *["no"] * (len(HEALTH) - 1), "", *[""] * len(ASKED), "")
    assert triage("bench").returncode == 0
    assert load_bench(cases / "bench.yaml") == before


def test_questions_left_open_write_nothing(
    tmp_path: Path, triage: Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    _typed(monkeypatch, "no", "no")
    told = triage("bench")
    assert told.returncode == 2
    assert told.stderr.count("\n") == 1
    assert "nothing was written" in told.stderr
    assert not (tmp_path / "cases" / "bench.yaml").exists()


def test_a_key_that_nothing_reads_is_named_on_every_plan(tmp_path: Path, triage: Runner) -> None:
    cases = tmp_path / "cases"
    shutil.copytree(CASES, cases)
    case = "bumblebee-plate-3"
    assert "not read" not in triage("plan", case).stdout
    for name, line in (("bench", "remark: by the window\n"), (case, "former_owner: nobody\n")):
        with (cases / f"{name}.yaml").open("a") as stream:
            stream.write(line)
    told = " ".join(triage("plan", case).stdout.split())
    assert "Kept in the bench file, but not read: remark." in told
    assert "Kept in the case file, but not read: former_owner." in told
