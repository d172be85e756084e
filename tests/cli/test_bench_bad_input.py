"""A key of the bench that was meant to protect somebody is never passed over without a word."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
import yaml

from tests.support.running import Runner
from triage.service.workshop import open_workshop
from triage.yamltext import dump_yaml

FOLDER = Path(__file__).parents[1] / "bad_input" / "benches"


def table() -> list[tuple[str, str, str]]:
    rows = (FOLDER / "expected.txt").read_text(encoding="utf-8").splitlines()[1:]
    return [(name, line, part) for name, line, part in (row.split(" | ", 2) for row in rows)]


@pytest.mark.parametrize(("name", "line", "part"), table(), ids=[row[0] for row in table()])
def test_a_bench_is_refused_in_one_line(
    name: str, line: str, part: str, tmp_path: Path, triage: Runner
) -> None:
    cases = tmp_path / "cases"
    cases.mkdir()
    path = cases / "bench.yaml"
    shutil.copyfile(FOLDER / f"{name}.yaml", path)
    before = path.read_bytes()
    told = triage("list", "--cases", str(cases))
    assert told.returncode == 2
    assert told.stdout == ""
    assert told.stderr.count("\n") == 1
    assert told.stderr.startswith(f"bench.yaml:{line}"), told.stderr
    assert part in told.stderr
    assert path.read_bytes() == before


def test_every_bench_has_its_row() -> None:
    assert {path.stem for path in FOLDER.glob("*.yaml")} == {row[0] for row in table()}


# Keys of a person's own, which nothing here could be meant by.
OWN = {
    "remark": "by the north window",
    "contact": "the museum's office",
    "species": "all sorts",
    "size": "small",
    "by-hand": True,
    "former_owner": "nobody",
    "insurance": {"no": 12},
}


def test_keys_that_resemble_nothing_survive_the_round_trip(tmp_path: Path) -> None:
    path = tmp_path / "bench.yaml"
    content = {
        "name": "Test bench",
        "room": {"volume_m3": 20, "floor": "second", **OWN},
        "stock": [
            {"agent": "heptane", "lot": "7b", "bought": 2025, "agent_maker": "unknown", **OWN}
        ],
        "refused": [{"agent": "benzene", "said_by": "the safety officer", **OWN}],
        "gloves": ["butyl"],
        **OWN,
    }
    path.write_text(dump_yaml(content), encoding="utf-8")
    workshop = open_workshop(cases=tmp_path)
    workshop.save_bench(workshop.bench.model_copy(update={"circumstances": ("asthma",)}))
    held = yaml.safe_load(path.read_text(encoding="utf-8"))
    assert held.pop("circumstances") == ["asthma"]
    assert held == content
