"""One file that cannot be right is set aside by its name; every other case works, with less air."""

from __future__ import annotations

import json
import os
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.support.builders import OILY
from tests.support.intake import READY
from tests.support.knowledge import shipped
from tests.support.running import Ran, Runner
from triage.case.changes import new_attempt, new_case, with_attempt
from triage.case.store import case_text, create_case, load_case
from triage.errors import TriageError
from triage.service.workshop import open_workshop

BENCH = """format: 1
room: {volume_m3: 60, air_changes_per_h: 6, control: hood, place: lab}
margin: 1.0
"""
SOLVENT = shipped().methods["ethyl-acetate-brush"]


@pytest.fixture
def cases(tmp_path: Path) -> Path:
    folder = tmp_path / "cases"
    folder.mkdir()
    (folder / "bench.yaml").write_text(BENCH, encoding="utf-8")
    finding = {"id": "f1", "zone": "elytra", "signs": OILY}
    create_case(
        folder, new_case("sound", "Sound", taxon="beetles", answers=READY, findings=[finding])
    )
    return folder


def other_case(at: datetime, **fields: object) -> str:
    given = {
        "method": SOLVENT.id,
        "agent": SOLVENT.agent,
        "amount_ml": 0.5,
        "minutes": 2.0,
        **fields,
    }
    attempt = new_attempt("a1", at, "case-x", "better", **given)
    return case_text(with_attempt(new_case("other", "Other", taxon="beetles"), attempt))


def now() -> datetime:
    return datetime.now().astimezone().replace(microsecond=0)


def put(cases: Path, text: str, name: str = "other.yaml") -> Path:
    path = cases / name
    path.write_text(text, encoding="utf-8")
    return path


def plan_of(triage: Runner, cases: Path) -> tuple[set[str], str, Ran]:
    """Return the methods of the sound case's plan, its words on the air, and the run."""
    ran = triage("plan", "sound", "--cases", str(cases), "--json")
    assert ran.returncode == 0, ran.stderr
    plan = json.loads(ran.stdout)
    air = " ".join(n["text"] for n in plan["notices"] if n["kind"] == "air")
    return {step["method"] for step in plan["steps"]}, air, ran


def solvents(methods: set[str]) -> set[str]:
    entries = shipped().methods
    agents = {m: entries[m].agent for m in methods}
    return {m for m, a in agents.items() if a and shipped().agents[a].limits}


BROKEN = {
    "year-9999": ("at: '9999-12-31T23:59:59-12:00'", "is not in the years 2000 to 2099"),
    "year-1": ("at: '0001-01-01T00:00:00+14:00'", "is not in the years 2000 to 2099"),
    "a-hundred-thousand-litres": ("amount_ml: 100000000.0", "more than one pass can take"),
    "a-million-minutes": ("minutes: 1.0e+6", "more than one pass can take"),
}


@pytest.mark.parametrize("name", BROKEN)
def test_a_value_that_cannot_be_sets_only_its_own_case_aside(
    name: str, cases: Path, triage: Runner
) -> None:
    line, says = BROKEN[name]
    key = line.split(":")[0]
    text = "\n".join(
        f"  {line}" if row.strip().startswith(f"{key}:") else row
        for row in other_case(now()).splitlines()
    )
    path = put(cases, text + "\n")
    number = next(n for n, row in enumerate(text.splitlines(), 1) if line in row)
    before = path.read_bytes()
    with pytest.raises(TriageError) as fault:
        load_case(path, shown_as="other.yaml")
    assert fault.value.line().startswith(f"other.yaml:{number} ")
    assert says in fault.value.line()

    listed = triage("list", "--cases", str(cases))
    assert listed.returncode == 0, listed.stderr
    assert "sound" in listed.stdout
    assert f"other.yaml:{number}" in listed.stdout + listed.stderr
    methods, air, _ = plan_of(triage, cases)
    assert methods
    assert not solvents(methods)
    assert "other.yaml cannot be read" in air
    day = triage("day", "--cases", str(cases))
    assert day.returncode == 0, day.stderr
    assert "other.yaml" in day.stdout
    ledger = triage("day-air", "--cases", str(cases))
    assert ledger.returncode == 0, ledger.stderr
    assert "other.yaml cannot be read" in " ".join(ledger.stdout.split())
    assert path.read_bytes() == before


@pytest.mark.parametrize("ending", [".yml", ".YAML", ".Yml"])
def test_a_case_with_another_ending_is_named_and_counts_as_unknown(
    ending: str, cases: Path, triage: Runner
) -> None:
    assert solvents(plan_of(triage, cases)[0])
    put(cases, other_case(now()), f"other{ending}")
    methods, air, _ = plan_of(triage, cases)
    assert methods
    assert not solvents(methods)
    assert f"other{ending} is not read: its name must end in .yaml" in air


@pytest.mark.parametrize(
    "text", ["format: 1\nid: other\n  title: x\n", "", "[", "format: 1\nid: else\n"]
)
def test_a_case_that_cannot_be_read_is_named_and_counts_as_unknown(
    text: str, cases: Path, triage: Runner
) -> None:
    path = put(cases, text)
    # Its times say nothing: they come from a copy, or from the clock of another machine.
    os.utime(path, (1_700_000_000, 1_700_000_000))
    methods, air, _ = plan_of(triage, cases)
    assert methods
    assert not solvents(methods)
    assert "other.yaml cannot be read" in air
    path.unlink()
    assert solvents(plan_of(triage, cases)[0])


def test_a_link_to_a_file_that_is_not_there_counts_as_unknown(cases: Path, triage: Runner) -> None:
    (cases / "other.yaml").symlink_to(cases.parent / "stick" / "other.yaml")
    methods, air, _ = plan_of(triage, cases)
    assert not solvents(methods)
    assert "other.yaml is a link to a file that is not there" in air


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"amount_ml": None}, "no amount of ethyl acetate is written down"),
        ({"agent": "ethyl-acetat"}, 'agent "ethyl-acetat" is not known'),
    ],
)
def test_an_attempt_that_says_too_little_is_named(
    fields: dict[str, object], says: str, cases: Path, triage: Runner
) -> None:
    put(cases, other_case(now(), **fields))
    methods, air, _ = plan_of(triage, cases)
    assert methods
    assert not solvents(methods)
    assert f"other.yaml attempt a1: {says}" in air


def test_files_that_are_no_cases_are_no_gap(cases: Path, triage: Runner) -> None:
    put(cases, "anything", "_draft.yaml")
    put(cases, "anything", ".hidden.yml")
    put(cases, "anything", "notes.txt")
    (cases / "folder.yaml").mkdir()
    (cases / "folder.yml").mkdir()
    (cases / "bench.yaml").write_text("format: 1\nroom: {others: none}\n", encoding="utf-8")
    methods, air, _ = plan_of(triage, cases)
    assert solvents(methods)
    assert air == ""


def test_the_air_of_a_case_does_not_hang_on_the_times_of_its_file(cases: Path) -> None:
    """A shared disk keeps the time of its own clock, and a copy that of its original."""
    path = put(cases, other_case(now() - timedelta(hours=1)))
    os.utime(path, (1_000_000_000, 1_000_000_000))
    assert len(open_workshop(cases=cases).day().releases) == 1


def test_midnight_and_a_clock_set_back_bring_nothing_back(cases: Path) -> None:
    at = datetime(2026, 3, 4, 23, 58).astimezone()
    put(cases, other_case(at, amount_ml=10_000.0))

    def offered(moment: datetime) -> set[str]:
        shop = open_workshop(cases=cases, clock=lambda: moment)
        return solvents({s.method for s in shop.plan(shop.load("sound")).steps})

    evening = offered(at + timedelta(minutes=1))
    assert offered(at + timedelta(minutes=3)) <= evening
    assert offered(at - timedelta(days=2)) <= evening
    assert offered(at + timedelta(days=3)) - evening


@pytest.mark.parametrize(
    ("option", "figure", "says"),
    [
        ("--ml", "100000000", "more than one pass can take; write at most 10000 millilitres"),
        ("--minutes", "1e7", "more than one pass can take; write at most 259200 minutes"),
    ],
)
def test_what_no_bench_can_hold_is_not_recorded(
    option: str, figure: str, says: str, cases: Path, triage: Runner
) -> None:
    plan = json.loads(triage("plan", "sound", "--cases", str(cases), "--json").stdout)
    before = (cases / "sound.yaml").read_bytes()
    told = triage(
        "record", "sound", "--cases", str(cases), "--step", plan["steps"][0]["id"], "--outcome",
        "no-change", option, figure, "--observed", "seen",
    )  # fmt: skip
    assert told.returncode == 2
    assert told.stdout == ""
    assert told.stderr.count("\n") == 1
    assert says in told.stderr
    assert (cases / "sound.yaml").read_bytes() == before


def test_a_clock_that_cannot_be_right_records_nothing(cases: Path) -> None:
    shop = open_workshop(cases=cases, clock=lambda: datetime(1970, 1, 1, 1).astimezone())
    step = shop.plan(shop.load("sound")).steps[0].id
    with pytest.raises(TriageError, match="the clock of this machine"):
        shop.record("sound", step, "no-change", observed="seen")
