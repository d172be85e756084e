"""The bench by questions; a key of it that was meant to protect somebody is never passed over."""

import io
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest
import yaml

from tests.support.knowledge import shipped
from tests.support.running import Ran, Runner
from triage.case.profile import load_bench
from triage.service.benchasked import ASKED
from triage.service.workshop import open_workshop
from triage.yamltext import dump_yaml

HEALTH = list(shipped().circumstances.values())
Told = Callable[..., Ran]


@pytest.fixture
def asked(triage: Runner, monkeypatch: pytest.MonkeyPatch) -> Told:
    """Answers the questions about the bench with lines that are typed."""

    def told(*lines: str) -> Ran:
        monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{line}\n" for line in lines)))
        return triage("bench")

    return told


def test_health_is_asked_first_and_not_known_counts_as_yes(tmp_path: Path, asked: Told) -> None:
    answers = ["yes", "perhaps", "u", *["no"] * (len(HEALTH) - 2)]
    room = {"volume_m3": "24", "control": "window", "others": "some", "name": "12"}
    words = [room.get(each.path[-1], "") for each in ASKED]
    words.insert(1, "-3")  # no air changes an hour can be below none: it is asked again
    told = asked(*answers, *words, "ethanl 96", "ethanol 96", "")
    assert told.returncode == 0, told.stderr
    bench = load_bench(tmp_path / "cases" / "bench.yaml")
    assert bench.circumstances == (HEALTH[0].id, HEALTH[1].id)
    assert (bench.room.volume_m3, bench.room.control, bench.room.others) == (24, "window", "some")
    assert bench.room.name == "12"
    assert [(b.agent, b.strength) for b in bench.stock] == [("ethanol", 96)]
    assert 'did you mean "ethanol"?' in told.stdout
    order = [told.stdout.index(text) for text in (*(h.ask for h in HEALTH), ASKED[0].ask)]
    assert order == sorted(order)


def test_enter_keeps_what_stands_and_unknown_keys_stay(tmp_path: Path, asked: Told) -> None:
    bench = tmp_path / "cases" / "bench.yaml"
    bench.parent.mkdir()
    kept = f"remark: by the window\ncircumstances: [{HEALTH[-1].id}]\nroom: {{control: hood}}\n"
    bench.write_text(f"format: 1\n{kept}")
    before = load_bench(bench)
    assert asked(*["no"] * (len(HEALTH) - 1), "", *[""] * len(ASKED), "").returncode == 0
    assert load_bench(bench) == before


def test_questions_left_open_write_nothing(tmp_path: Path, asked: Told) -> None:
    told = asked("no", "no")
    assert (told.returncode, told.stderr.count("\n")) == (2, 1)
    assert "nothing was written" in told.stderr
    assert not (tmp_path / "cases" / "bench.yaml").exists()


def test_a_key_that_nothing_reads_is_named_on_every_plan(demo: Path, triage: Runner) -> None:
    case = "bumblebee-plate-3"
    assert "not read" not in triage("plan", case).stdout
    for name, line in (("bench", "remark: by the window\n"), (case, "former_owner: nobody\n")):
        with (demo / f"{name}.yaml").open("a") as stream:
            stream.write(line)
    told = " ".join(triage("plan", case).stdout.split())
    assert "Kept in the bench file, but not read: remark." in told
    assert "Kept in the case file, but not read: former_owner." in told


FOLDER = Path(__file__).parents[1] / "bad_input" / "benches"


def table() -> list[tuple[str, str, str]]:
    rows = (FOLDER / "expected.txt").read_text(encoding="utf-8").splitlines()[1:]
    return [(name, line, part) for name, line, part in (row.split(" | ", 2) for row in rows)]


@pytest.mark.parametrize(("name", "line", "part"), table(), ids=[row[0] for row in table()])
def test_a_bench_is_refused_in_one_line(
    name: str, line: str, part: str, tmp_path: Path, triage: Runner
) -> None:
    path = tmp_path / "cases" / "bench.yaml"
    path.parent.mkdir()
    shutil.copyfile(FOLDER / f"{name}.yaml", path)
    before = path.read_bytes()
    told = triage("list")
    assert (told.returncode, told.stdout, told.stderr.count("\n")) == (2, "", 1)
    assert told.stderr.startswith(f"bench.yaml:{line}"), told.stderr
    assert part in told.stderr
    assert path.read_bytes() == before


def test_every_bench_has_its_row() -> None:
    assert {path.stem for path in FOLDER.glob("*.yaml")} == {row[0] for row in table()}


OWN = {"remark": "by the north window", "contact": "the museum's office", "species": "all sorts"}
OWN |= {"size": "small", "by-hand": True, "former_owner": "nobody", "insurance": {"no": 12}}


def test_keys_that_resemble_nothing_survive_the_round_trip(tmp_path: Path) -> None:
    path = tmp_path / "bench.yaml"
    bottle = {"agent": "heptane", "lot": "7b", "bought": 2025, "agent_maker": "unknown", **OWN}
    content = {
        "name": "Test bench",
        "room": {"volume_m3": 20, "floor": "second", **OWN},
        "stock": [bottle],
        "refused": [{"agent": "benzene", "said_by": "the safety officer", **OWN}],
        "gloves": ["butyl"],
        **OWN,
    }
    path.write_text(dump_yaml(content), encoding="utf-8")
    workshop = open_workshop(cases=tmp_path)
    workshop.save_bench(workshop.bench.model_copy(update={"circumstances": ("asthma",)}))
    held = yaml.safe_load(path.read_text(encoding="utf-8"))
    assert held == {**content, "circumstances": ["asthma"]}
