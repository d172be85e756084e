"""One file that cannot be right is set aside by its name; every other case works, with less air."""

import os
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from tests.support.builders import OILY
from tests.support.intake import READY
from tests.support.knowledge import shipped
from tests.support.running import Runner
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
    findings = [{"id": "f1", "zone": "elytra", "signs": OILY}]
    create_case(
        folder, new_case("sound", "Sound", taxon="beetles", answers=READY, findings=findings)
    )
    return folder


def other_case(at: datetime, **fields: object) -> str:
    told = {"method": SOLVENT.id, "agent": SOLVENT.agent, "amount_ml": 0.5, "minutes": 2.0}
    attempt = new_attempt("a1", at, "case-x", "better", **told | fields)
    return case_text(with_attempt(new_case("other", "Other", taxon="beetles"), attempt))


def now() -> datetime:
    return datetime.now().astimezone().replace(microsecond=0)


def put(cases: Path, text: str, name: str = "other.yaml") -> Path:
    path = cases / name
    path.write_text(text, encoding="utf-8")
    return path


def plan_of(triage: Runner) -> tuple[set[str], str]:
    """Return the methods of the sound case's plan, and its words on the air."""
    plan = triage("plan", "sound", "--json").held()
    air = " ".join(n["text"] for n in plan["notices"] if n["kind"] == "air")
    return {step["method"] for step in plan["steps"]}, air


def without_solvents(triage: Runner) -> str:
    """Return the words on the air of a plan that offers something and nothing that evaporates."""
    methods, air = plan_of(triage)
    assert methods
    assert not solvents(methods)
    return air


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
    lines = other_case(now()).splitlines()
    (at,) = (n for n, row in enumerate(lines) if row.strip().startswith(f"{key}:"))
    lines[at] = f"  {line}"
    path = put(cases, "\n".join(lines) + "\n")
    before = path.read_bytes()
    with pytest.raises(TriageError) as fault:
        load_case(path, shown_as="other.yaml")
    assert fault.value.line().startswith(f"other.yaml:{at + 1} ")
    assert says in fault.value.line()
    assert "other.yaml cannot be read" in without_solvents(triage)
    for words, told in (
        ("list", f"other.yaml:{at + 1}"),
        ("list", "sound"),
        ("day", "other.yaml"),
        ("day-air", "other.yaml cannot be read"),
    ):
        ran = triage(words)
        assert told in " ".join((ran.said() + ran.stderr).split()), words
    assert path.read_bytes() == before


CANNOT_BE_READ = "other.yaml cannot be read"
OTHER_ENDING = "{} is not read: its name must end in .yaml"


@pytest.mark.parametrize(
    ("name", "text", "says"),
    [
        ("other.yaml", "format: 1\nid: other\n  title: x\n", CANNOT_BE_READ),
        ("other.yaml", "", CANNOT_BE_READ),
        ("other.yaml", "[", CANNOT_BE_READ),
        ("other.yaml", "format: 1\nid: else\n", CANNOT_BE_READ),
        ("other.yaml", None, "other.yaml is a link to a file that is not there"),
        *((name, other_case(now()), OTHER_ENDING.format(name))
          for name in ("other.yml", "other.YAML", "other.Yml")),
        ("other.yaml", other_case(now(), amount_ml=None),
         "other.yaml attempt a1: no amount of ethyl acetate is written down"),
    ],
)  # fmt: skip
def test_what_cannot_be_read_is_named_and_counts_as_unknown(
    name: str, text: str | None, says: str, cases: Path, triage: Runner
) -> None:
    assert solvents(plan_of(triage)[0])
    if text is None:
        (cases / name).symlink_to(cases.parent / "stick" / name)
    else:
        # Its times say nothing: they come from a copy, or from the clock of another machine.
        os.utime(put(cases, text, name), (1_700_000_000, 1_700_000_000))
    assert says in without_solvents(triage)
    (cases / name).unlink()
    assert solvents(plan_of(triage)[0])


def test_files_that_are_no_cases_are_no_gap(cases: Path, triage: Runner) -> None:
    for name in ("_draft.yaml", ".hidden.yml", "notes.txt"):
        put(cases, "anything", name)
    for name in ("folder.yaml", "folder.yml"):
        (cases / name).mkdir()
    put(cases, "format: 1\nroom: {others: none}\n", "bench.yaml")
    methods, air = plan_of(triage)
    assert solvents(methods)
    assert air == ""


def test_times_of_files_count_for_nothing_and_a_clock_that_cannot_be_right_records_nothing(
    cases: Path,
) -> None:
    """A shared disk keeps the time of its own clock, and a copy that of its original."""
    path = put(cases, other_case(now() - timedelta(hours=1)))
    os.utime(path, (1_000_000_000, 1_000_000_000))
    assert len(open_workshop(cases=cases).day().releases) == 1
    shop = open_workshop(cases=cases, clock=lambda: datetime(1970, 1, 1, 1).astimezone())
    step = shop.plan(shop.load("sound")).steps[0].id
    with pytest.raises(TriageError, match="the clock of this machine"):
        shop.record("sound", step, "no-change", observed="seen")


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
    step = triage("plan", "sound", "--json").held()["steps"][0]["id"]
    before = (cases / "sound.yaml").read_bytes()
    told = ("--step", step, "--outcome", "no-change", "--observed", "seen", option, figure)
    assert says in triage("record", "sound", *told).refusal()
    assert (cases / "sound.yaml").read_bytes() == before
