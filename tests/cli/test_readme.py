"""Commands of the README run, shells complete, schemas hold, and looking changes no file of the demo."""

import json
import re
import shlex
import shutil
import subprocess
from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml
from pydantic import TypeAdapter

from tests.support.knowledge import CASES, DEMO, ROOT
from tests.support.running import Runner
from triage.cli import commands
from triage.knowledge.book import KINDS, schema_of
from triage.plan.model import Plan, plan_data
from triage.service.workshop import Workshop
from triage.yamltext import parse_yaml

README = (ROOT / "README.md").read_text(encoding="utf-8")


def blocks() -> list[str]:
    return re.findall(r"```bash\n(.*?)```", README, re.DOTALL)


def typed_in(block: str) -> list[list[str]]:
    lines = [line.split(" #")[0].strip() for line in block.splitlines()]
    return [shlex.split(line) for line in lines if line.startswith("triage ")]


EVERY = ["every command"]
WALK = next(typed_in(block) for block in blocks() if block.startswith("triage new"))


def test_commands_run_in_order(tmp_path: Path, triage: Runner) -> None:
    """In one process, because forty starts would take a minute; others test the processes."""
    for words in WALK:
        told = triage(*words[1:])
        assert told.returncode == 0, (" ".join(words), told.stderr)
    assert (tmp_path / "hoverfly-lid.zip").is_file()


def test_every_command_stands_in_the_readme() -> None:
    named = {words[1] for block in blocks() for words in typed_in(block)}
    named |= set(re.findall(r"(?:`|# )triage ([a-z-]+)", README))
    named |= set(re.findall(r"triage (completion)", README))
    assert set(commands()) - named == set()


def test_main_command_and_test_command_are_there_and_ci_runs_the_latter() -> None:
    assert any("triage --demo bumblebee-plate-3" in block for block in blocks())
    assert (CASES / "bumblebee-plate-3.yaml").is_file()
    script = (ROOT / ".ci" / "run").read_text(encoding="utf-8")
    awk = re.search(r"command=\$\((awk .*?)\)\n", script, re.DOTALL)
    assert awk
    run = subprocess.check_output(["bash", "-c", awk[1]], text=True, cwd=ROOT)
    block = next(b for b in blocks() if "-m pytest" in b)
    assert run.strip() == block.strip()


@pytest.mark.parametrize("link", re.findall(r"\]\(([^)h][^)]*)\)", README))
def test_links_of_the_readme_lead_somewhere(link: str) -> None:
    assert (ROOT / link).exists(), link


def script(shell: str, triage: Runner) -> str:
    told = triage("completion", shell)
    assert told.returncode == 0
    return told.stdout


def completed(text: str, line: str, folder: Path) -> list[str]:
    """What bash offers for the last word of a line; an empty last word is what comes next."""
    words = line.split(" ")
    quoted = " ".join(f"'{word}'" for word in words)
    code = f"{text}\nCOMP_WORDS=({quoted})\nCOMP_CWORD={len(words) - 1}\n_shtab_triage\nprintf '%s\\n' \"${{COMPREPLY[@]}}\"\n"
    done = subprocess.run(
        ["bash", "-u", "-c", code], capture_output=True, text=True, check=False, cwd=folder
    )
    assert (done.returncode, done.stderr) == (0, "")
    return done.stdout.split()


@pytest.mark.skipif(shutil.which("bash") is None, reason="no bash here")
@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        ("triage pl", ["plan"]),
        ("triage plan x --js", ["--json"]),
        ("triage record x --outcome no", []),
        ("triage sheet --format h", ["html"]),
        ("triage mix --basis w", ["w/w", "w/v"]),
        ("triage completion f", ["fish"]),
        ("triage --vers", ["--version"]),
        ("triage plan bum", ["bumblebee.yaml"]),
        ("triage ", EVERY),
    ],
)
def test_bash_completes(line: str, wanted: list[str], tmp_path: Path, triage: Runner) -> None:
    (tmp_path / "bumblebee.yaml").write_text("", encoding="utf-8")
    offered = completed(script("bash", triage), line, tmp_path)
    if wanted is EVERY:
        assert set(commands()) <= set(offered)
    else:
        assert sorted(offered) == sorted(wanted)


@pytest.mark.parametrize("shell", ["bash", "zsh", "fish"])
def test_script_can_be_read_by_its_shell(shell: str, triage: Runner) -> None:
    text = script(shell, triage)
    assert all(name in text for name in commands())
    if shutil.which(shell) is not None:
        words = [shell, "-n"]
        done = subprocess.run(words, input=text, capture_output=True, text=True, check=False)
        assert done.returncode == 0, done.stderr


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_knowledge_files_fit_their_schema(kind: str) -> None:
    schema = schema_of(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    place = ROOT / "rules" / KINDS[kind][1]
    files = sorted(place.glob("*.yaml")) if place.is_dir() else [place]
    assert files
    for path in files:
        validator.validate(parse_yaml(path.read_text(encoding="utf-8"), path.name).data)


def test_schema_refuses_a_wrong_entry() -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate([{"id": "x", "name": "y"}], schema_of("zone"))


def test_plan_json_fits_its_schema(workshop: Workshop) -> None:
    schema: dict[str, Any] = TypeAdapter(Plan).json_schema(mode="serialization")
    for entry in workshop.entries():
        plan = workshop.plan(workshop.load(entry.id))
        jsonschema.validate(json.loads(json.dumps(plan_data(plan))), schema)


def test_demo_data_are_marked_as_invented() -> None:
    for path in CASES.glob("*.yaml"):
        assert yaml.safe_load(path.read_text(encoding="utf-8"))["invented"] is True, path.name


@pytest.mark.parametrize(("kind", "files"), [("bench", [CASES / "bench.yaml"]), ("case", DEMO)])
def test_own_files_fit_the_schema_that_the_command_prints(
    kind: str, files: list[Path], triage: Runner
) -> None:
    validator = jsonschema.Draft202012Validator(json.loads(triage("schema", kind).stdout))
    for path in files:
        held = parse_yaml(path.read_text("utf-8"), path.name).data
        validator.validate(json.loads(json.dumps(held, default=str)))
    assert not validator.is_valid({"format": "one"})


def in_version_control() -> list[Path]:
    """Return the files of the demo folder that are in version control."""
    git = shutil.which("git")
    if git is None or not (ROOT / ".git").exists():
        pytest.skip("this is no checkout, or git is not at hand")
    words = [git, "-C", str(ROOT), "ls-files", "-z", "cases"]
    done = subprocess.run(words, capture_output=True, text=True, check=False)
    if done.returncode:
        pytest.skip(f"git does not read this checkout: {done.stderr.strip()}")
    return [ROOT / name for name in done.stdout.split("\0") if name]


def test_looking_at_the_demo_cases_changes_no_file_in_version_control(
    tmp_path: Path, triage: Runner
) -> None:
    cases = tmp_path / "cases"
    for path in in_version_control():
        target = cases / path.relative_to(CASES)
        target.parent.mkdir(parents=True, exist_ok=True)
        shutil.copyfile(path, target)
    before = {path: path.read_bytes() for path in cases.rglob("*") if path.is_file()}
    assert cases / "bumblebee-plate-3.yaml" in before
    for words in (["list"], ["plan", "bumblebee-plate-3"], ["day"], ["history"]):
        done = triage(*words, "--cases", str(cases))
        assert done.returncode == 0, done.stderr
    assert {path: path.read_bytes() for path in before} == before
