"""The bench by questions, keys that protect somebody, and small things that are told: what is missing or a hundredfold."""

import io
import re
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.support.knowledge import DEMO, shipped
from tests.support.running import Ran, Runner
from triage.case.profile import load_bench
from triage.case.store import load_case
from triage.plan.model import Step
from triage.service.benchasked import ASKED
from triage.service.working import far_more
from triage.service.workshop import open_workshop
from triage.yamltext import dump_yaml

CASE = "bumblebee-plate-3"


def test_an_attempt_missing_from_the_middle_is_told(demo: Path, triage: Runner) -> None:
    step = triage("plan", CASE, "--json").held()["steps"][0]["id"]
    for _ in range(3):
        words = ("--outcome", "not-done", "--observed", "seen", "--step", step)
        triage("record", CASE, *words).said()
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
    assert "the folder cannot be made" in told.refusal()


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
    plan = triage("plan", CASE, "--json").held()
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
        plan = triage("plan", path.stem, "--json").held()
        steps = [s for s in plan["steps"] if s["amount_ml"] and not s["hold"]]
        return steps[0] if steps and not plan["held"] else None

    # A demo case that plans a liquid.
    path, step = next((demo / p.name, found) for p in DEMO if (found := fit(p)))
    outcome, much = next(iter(step["outcomes"])), f"{step['amount_ml'] * 100:g}"
    words = ("record", path.stem, "--step", step["id"], "--outcome", outcome, "--minutes", "1")
    before = len(load_case(path).attempts)
    refused = triage(*words, "--ml", much).refusal()
    assert f"planned {step['amount_ml']:g} mL, you wrote" in refused
    assert "--yes" in refused
    assert len(load_case(path).attempts) == before
    assert triage(*words, "--ml", much, "--yes").returncode == 0
    assert len(load_case(path).attempts) == before + 1


def test_ten_times_the_amount_needs_no_word() -> None:
    step = Step.__new__(Step)
    object.__setattr__(step, "amount_ml", 0.1)
    assert far_more(step, 1.0) == ""
    assert far_more(step, 10.0) == "planned 0.1 mL, you wrote 10 mL"


HEALTH = list(shipped().circumstances.values())
Told = Callable[..., Ran]


@pytest.fixture
def asked(triage: Runner, monkeypatch: pytest.MonkeyPatch) -> Told:
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
    told.said()
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
    assert told.refusal().startswith(f"bench.yaml:{line}"), told
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
