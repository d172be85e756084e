"""The command line as a user meets it: its output, its exit code, the file."""

import re
from pathlib import Path
from typing import Any

import pytest
import yaml

from tests.support.intake import TOLD
from tests.support.knowledge import DEMO
from tests.support.running import Runner, process
from triage import cli


def test_whole_job_without_a_terminal(triage: Runner) -> None:
    triage("new", "Hoverfly, plate 4", "--taxon", "flies").said()
    case = "hoverfly-plate-4"
    answers = [f"{question}={answer}" for question, answer in TOLD.items()]
    triage("answer", case, *answers).said()
    seen = triage(
        "see", case, "--zone", "thorax-hairy", "colour=mixed-grains", "texture=grains", "puff=moves"
    )
    assert "loose dust" in seen.stdout
    plan = triage("plan", case, "--json").held()
    assert plan["stage"] == "clean"
    first = plan["steps"][0]
    assert first["method"] == "puff-air"
    triage("record", case, "--step", first["id"], "--outcome", "no-change", "--minutes", "1").said()
    for _ in range(first["passes"] - 1):
        triage("record", case, "--step", first["id"], "--outcome", "no-change")
    again = triage("plan", case, "--json").held()
    assert again["steps"][0]["method"] != "puff-air"
    # Three passes in a row changed nothing: going on is a hold point.
    go_on = ["record", case, "--step", again["steps"][0]["id"], "--outcome", "damage"]
    assert "hold point" in triage(*go_on).refusal()
    hurt = triage(*go_on, "--observed", "still loose grains at x40")
    assert "Held" in hurt.stdout
    held = triage("plan", case, "--json").held()
    assert held["steps"] == []
    assert held["held"]
    refused = triage("record", case, "--step", "f1-brush-single-hair", "--outcome", "cleared")
    assert "release" in refused.refusal()
    attempt = held["held"][0]["attempt"]
    triage("release", case, attempt, "--reason", "only one seta, seen at x40").said()
    assert triage("plan", case, "--json").held()["held"] == []
    listed = triage("list")
    assert case in listed.stdout


REQUIRED = {"case", "knowledge_digest", "stage", "held", "findings", "steps", "excluded"}
REQUIRED |= {"questions"}
STEP_KEYS = {"id", "stage", "zone", "deposit", "method", "agent", "technique", "outcomes"}
STEP_KEYS |= {"harshness", "passes", "dwell_s", "amount_ml", "make_up", "success", "stop_points"}
STEP_KEYS |= {"cautions", "protection", "air", "rinse", "because", "rules"}


ELSEWHERE = DEMO[::3]
EACH_PLAN = """\
import sys
from pathlib import Path
from triage.cli import main
for path in sys.argv[2:]:
    sys.stdout = open(Path(sys.argv[1], Path(path).stem), "w", encoding="utf-8")
    assert main(["plan", path, "--json"]) == 0
    sys.stdout.close()
"""


@pytest.fixture(scope="module")
def plans_elsewhere(tmp_path_factory: pytest.TempPathFactory) -> dict[str, str]:
    """Plans of the demo cases as another process prints them, with another hash seed."""
    folder = tmp_path_factory.mktemp("plans")
    words = ["-c", EACH_PLAN, str(folder), *map(str, ELSEWHERE)]
    process(*words, home=tmp_path_factory.mktemp("home")).said()
    return {path.stem: (folder / path.stem).read_text(encoding="utf-8") for path in ELSEWHERE}


@pytest.mark.parametrize("path", DEMO, ids=lambda p: p.stem)
def test_plan_json_has_every_documented_key(
    path: Path, triage: Runner, plans_elsewhere: dict[str, str]
) -> None:
    result = triage("plan", str(path), "--json")
    plan = result.held()
    assert set(plan) >= REQUIRED
    for step in plan["steps"]:
        assert set(step) >= STEP_KEYS
        assert set(step["harshness"]) == {"mechanical", "chemical", "person", "lasting"}
    for finding in plan["findings"]:
        assert set(finding) >= {"zone", "deposit", "certainty", "alternatives"}
    for excluded in plan["excluded"]:
        assert set(excluded) >= {"zone", "method", "rule", "because"}
    assert plans_elsewhere.get(path.stem, result.stdout) == result.stdout


GOOD = """\
format: 1
id: x
taxon: beetles
answers: {hydration: supple}
findings:
- id: f1
  zone: elytra
  signs: {puff: moves}
attempts: []
"""
DONE = "{{id: a1, at: '2026-03-02T10:15:00+01:00', step: f1-puff-air, finding: f1, outcome: {}}}"
# What stands in the file, what is written instead, the line that is named, the mend.
WRONG = {
    "zone": ("zone: elytra", "zone: elitra", 7, 'did you mean "elytra"'),
    "answer": ("puff: moves", "puff: move", 8, 'did you mean "moves"'),
    "question": ("puff: moves", "puf: moves", 8, 'did you mean "puff"'),
    "taxon": ("taxon: beetles", "taxon: beatles", 3, 'did you mean "beetles"'),
    "hydration": ("supple}", "soft}", 4, "hydration"),
    "yaml": ("answers: {", "answers: [", 4, "YAML"),
    "format": ("format: 1", "format: 7", 1, "format"),
    **{
        name: ("attempts: []", f"attempts:\n- {DONE.format(told)}", 10, mend)
        for name, told, mend in (
            ("negative amount", "better, amount_ml: -2", "amount_ml"),
            ("unit in a number", "better, amount_ml: 3 ml", "amount_ml"),
            ("outcome", "clear", "cleared"),
        )
    },
}


@pytest.mark.parametrize("name", WRONG)
def test_bad_case_file_is_one_line_with_place_and_mend(
    name: str, tmp_path: Path, triage: Runner
) -> None:
    right, wrong, number, mend = WRONG[name]
    path = tmp_path / "x.yaml"
    assert right in GOOD
    path.write_text(text := GOOD.replace(right, wrong), encoding="utf-8")
    line = triage("plan", str(path)).refusal()
    assert f"x.yaml:{number}" in line
    assert mend in line
    assert path.read_text(encoding="utf-8") == text


@pytest.mark.parametrize(
    ("step", "words", "says"),
    [
        ("puf-air", "better", 'did you mean "f1-puff-air"'),
        ("puff-air", "bettr", 'does not come to "bettr"; say: cleared, better'),
        ("puff-air", "better --ml -1", "amount_ml"),
        ("puff-air", "better --ml nan", "amount_ml"),
        ("puff-air", "better --photo-after no.jpg", 'no photo "no.jpg"'),
        ("puff-air", "better --photo-after ../no.jpg", "photo"),
    ],
)
def test_bad_record_leaves_the_file(
    step: str, words: str, says: str, demo: Path, triage: Runner
) -> None:
    path = demo / "skimmer-plate-8.yaml"
    other = {"f1": "f2", "f2": "f1"}  # what is next stands at f2 there
    text = re.sub(r"\bf[12]\b", lambda found: other[found[0]], path.read_text(encoding="utf-8"))
    path.write_text(text, encoding="utf-8")
    told = ["record", str(path), "--step", f"f1-{step}", "--outcome", *words.split()]
    assert says in triage(*told).refusal()
    assert path.read_text(encoding="utf-8") == text


def test_bad_bench_is_one_line(tmp_path: Path, demo: Path, triage: Runner) -> None:
    bench = tmp_path / "bench.yaml"
    case = str(demo / "skimmer-plate-8.yaml")
    for text, says in [
        ("format: 1\nstock:\n- {agent: ethanoll}\n", 'did you mean "ethanol"'),
        ("format: 1\nroom: {volume_m3: -3}\n", "bench.yaml:2"),
        ("format: 1\nroom: {control: windw}\n", "bench.yaml:2"),
        ("- 1\n", "not a bench"),
    ]:
        bench.write_text(text, encoding="utf-8")
        assert says in triage("plan", case, "--bench", str(bench)).refusal()


def test_hold_point_needs_an_observation(demo: Path, triage: Runner) -> None:
    path = demo / "rose-chafer-plate-1.yaml"
    plan = triage("plan", str(path), "--json").held()
    held = next(s for s in plan["steps"] if s["hold"])
    words = ["record", str(path), "--step", held["id"], "--outcome", "better"]
    assert "hold point" in triage(*words).refusal()
    triage(*words, "--observed", "no colour on the paper after 10 s").said()
    assert yaml.safe_load(path.read_text(encoding="utf-8"))["attempts"][0]["observed"]


def attempts_of(path: Path) -> list[dict[str, Any]]:
    return yaml.safe_load(path.read_text(encoding="utf-8"))["attempts"]


def test_undo_is_an_appended_correction(demo: Path, triage: Runner) -> None:
    path = demo / "bumblebee-plate-3.yaml"
    triage("record", str(path), "--step", "f1-blot-dry", "--outcome", "cleared")
    triage("undo", str(path), "--reason", "wrong key").said()
    assert [a["outcome"] for a in attempts_of(path)] == ["cleared", "not-done"]
    assert attempts_of(path)[1]["corrects"] == "a1"


def test_a_clean_zone_and_a_timer(demo: Path, triage: Runner) -> None:
    path = demo / "bumblebee-plate-3.yaml"
    assert "clean" in triage("see", str(path), "--zone", "antenna", "--clean").stdout
    wrong = triage("see", str(path), "--zone", "leg", "--clean", "puff=moves")
    assert "takes a zone and no signs" in wrong.refusal()
    assert "ends at" in triage("timer", str(path), "f1-blot-dry").stdout
    (timer,) = yaml.safe_load(path.read_text(encoding="utf-8"))["timers"]
    assert timer["step"] == "f1-blot-dry"
    assert "stopped" in triage("timer", str(path), "f1-blot-dry", "--stop").stdout
    assert 'did you mean "f1-blot-dry"' in triage("timer", str(path), "f1-blot-dr").refusal()


def test_help_fits_one_screen_and_needs_no_engine(tmp_path: Path) -> None:
    code = (
        "import sys; from triage.cli import main\n"
        "try:\n    main(['--help'])\nexcept SystemExit: pass\n"
        "assert not {'experta', 'textual', 'numpy', 'scipy'} & set(sys.modules), sorted(sys.modules)\n"
    )
    told = process("-c", code, home=tmp_path).said()
    assert "order of work" in told
    lines = told.splitlines()
    assert len(lines) <= 24
    assert max(map(len, lines)) <= 80


@pytest.mark.parametrize(
    ("words", "says"),
    [
        ("plan bumblebee-plate-3", "case bumblebee-plate-3"),
        ("check", "no fault"),
        ("plan nowhere", ""),
        ("see bumblebee-plate-3 --zon", ""),
        ("--version", "triage "),
    ],
)
def test_a_process_says_the_same(
    words: str, says: str, tmp_path: Path, demo: Path, triage: Runner
) -> None:
    """A true process, rules read from their files, nothing shared: the same bytes, the same exit."""
    assert demo == tmp_path / "cases"
    told = process("-m", "triage", *words.split(), home=tmp_path)
    assert (told.returncode, says in told.stdout) == (0 if says else 2, True), told.stderr
    if words != "--version":
        assert told == triage(*words.split())


def test_a_process_writes_the_same(tmp_path: Path, demo: Path) -> None:
    words = ["record", "bumblebee-plate-3", "--step", "f1-blot-dry", "--outcome", "cleared"]
    process("-m", "triage", *words, home=tmp_path).said()
    (attempt,) = attempts_of(demo / "bumblebee-plate-3.yaml")
    assert (attempt["step"], attempt["outcome"]) == ("f1-blot-dry", "cleared")


def test_the_parser_is_built_once(triage: Runner, monkeypatch: pytest.MonkeyPatch) -> None:
    """It is asked which words are commands before it parses; each of the two built its own."""
    made: list[str] = []

    class Counted(cli.MainParser):
        def __init__(self, **options: Any) -> None:
            made.append("parser")
            super().__init__(**options)

    monkeypatch.setattr(cli, "MainParser", Counted)
    cli.build_parser.cache_clear()
    try:
        assert triage("list").returncode == 0
    finally:
        cli.build_parser.cache_clear()
    assert made == ["parser"]
