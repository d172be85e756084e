"""The README's commands run, shells complete, schemas hold, looking changes nothing, and bad words are one line."""

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
        triage(*words[1:]).said()
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
    return triage("completion", shell).said()


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


def test_plan_json_fits_its_schema(workshop: Workshop) -> None:
    schema: dict[str, Any] = TypeAdapter(Plan).json_schema(mode="serialization")
    for entry in workshop.entries():
        plan = workshop.plan(workshop.load(entry.id))
        jsonschema.validate(json.loads(json.dumps(plan_data(plan))), schema)
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate([{"id": "x", "name": "y"}], schema_of("zone"))


def test_demo_data_are_marked_as_invented() -> None:
    for path in CASES.glob("*.yaml"):
        assert yaml.safe_load(path.read_text(encoding="utf-8"))["invented"] is True, path.name


@pytest.mark.parametrize(("kind", "files"), [("bench", [CASES / "bench.yaml"]), ("case", DEMO)])
def test_own_files_fit_the_schema_that_the_command_prints(
    kind: str, files: list[Path], triage: Runner
) -> None:
    validator = jsonschema.Draft202012Validator(triage("schema", kind).held())
    for path in files:
        held = parse_yaml(path.read_text("utf-8"), path.name).data
        validator.validate(json.loads(json.dumps(held, default=str)))
    assert not validator.is_valid({"format": "one"})


def in_version_control() -> list[Path]:
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
        triage(*words, "--cases", str(cases)).said()
    assert {path: path.read_bytes() for path in before} == before


BAD = [
    ("plan nowhere", 'no case "nowhere"'),
    ("nowhere", "triage --demo"),
    ("plann x", "triage --help"),
    ("see x --zon", "triage see --help"),
    ("plan nowhere.yaml", "no such file"),
    ("new x --taxon beatles", 'did you mean "beetles"'),
    ("list --rules nowhere", "no such rules folder"),
    ("list --bench nowhere.yaml", "no such file"),
    ("air nosuch --ml 1", "unknown agent"),
    ("air ethanl --ml 1", 'did you mean "ethanol"?'),
    ("air ethanol --ml 0", "above zero"),
    ("air ethanol --ml -3", "above zero"),
    ("air ethanol --ml nan", "finite"),
    ("air ethanol --ml abc", "not a number"),
    ("air ethanol", "--ml"),
    ("air ethanol --ml 1 --volume 0", "room volume"),
    ("air ethanol --ml 1 --volume -5", "room volume"),
    ("air ethanol --ml 1 --air-changes -1", "air changes"),
    ("air ethanol --ml 1 --air-changes 5000", "air changes"),
    ("air ethanol --ml 1 --air-changes inf", "air changes"),
    ("air ethanol --ml 1 --control fan", "unknown control"),
    ("air ethanol --ml 1 --judge-by nobody", "unknown authority"),
    ("air ethanol --ml 1 --minutes -1", "minutes"),
    ("air ethanol --ml 1 --strength 0", "strength"),
    ("air ethanol --ml 1 --passes 0", "passes"),
    ("air ethanol --ml 1 --bench nosuch.yaml", "nosuch.yaml"),
    ("mix ethanol --to 99 --stock 50 --ml 10", "weaker than the target"),
    ("mix ethanol --to 70 --ml 10", "not known"),
    ("mix ethanol --to 70 --stock 96 --ml 0", "total volume"),
    ("mix ethanol --to 70 --stock 96 --grams 5 --basis v/v", "by mass only"),
    ("mix acetic-acid --to-ph 2 --ml 10 --stock 5", "a pH is worked out only for"),
    ("mix hydrochloric-acid-dilute --to-ph 9 --ml 10 --stock 5", "pH"),
    ("chamber --litres 0", "box volume"),
    ("chamber --litres 2 --temp 70", "temperature"),
    ("chamber --litres 2 --salt sodium-chlorid", 'did you mean "sodium-chloride"?'),
    ("chamber --litres 2 --salt potassium-nitrate --temp 2", "no humidity is known"),
    ("box --litres 8 --rh 20 --to-rh 50", "damper"),
    ("box --litres 8 --to-rh 1", "humidity"),
    ("box --litres 8 --fumigant naphthalene --temp 40", "vapour pressure"),
    ("alcohol --stock 80 --fluid 0", "fluid per gram"),
    ("alcohol --stock 180 --fluid 10", "fluid strength"),
    ("bursts 30", "longer than"),
    ("drops", "give a number of drops or an amount"),
    ("drops 5 --ml 2", "give a number of drops or an amount"),
    ("drops 5 --counted 35", "give both"),
    ("drops 5 --counted 5 --filled 1", "too few to calibrate"),
    ("drops 5 --agent acetone", "count your own"),
    ("drops --ml 0.01", "less than one drop"),
    ("bursts 8 8 8 8", "are allowed"),
    ("serve --address 0.0.0.0", "no login"),
    ("serve --port 0", "port"),
    ("serve --port 70000", "port"),
    ("serve --port x", "invalid int"),
    ("serve nosuch", "no case"),
    ("sheet ROSE --format pdf", "give --out"),
    ("sheet ROSE --out x.docx", "which format"),
    ("sheet ROSE --format docx", "invalid choice"),
    ("sheet ROSE --out nowhere/deep/x.html", "nothing was changed"),
    ("completion tcsh", "triage completion --help"),
    ("compare a.png b.png --patch 1,2,3", "is no patch"),
    ("compare a.png b.png --patch-after 1,2,3,4", "first photo is missing"),
    ("compare a.png b.png --um-per-pixel 0", "size of a pixel"),
    ("handbook zone nosuch", "nosuch"),
    ("explain BEE --step f9-nothing", "f9-nothing"),
    ("explain BEE --step f1-blot-dri", "f1-blot-dry"),
    ("explain BEE --method heptan-brush", "heptane-brush"),
    ("explain BEE --finding f9", "f9"),
    ("whatif BEE hydration=soggy", "soggy"),
    ("whatif BEE blotter=nothing", "blotter"),
]
NAMED = {"ROSE": "rose-chafer-plate-1", "BEE": "bumblebee-plate-3"}


@pytest.mark.parametrize(("words", "says"), BAD)
def test_bad_input_is_one_line(words: str, says: str, triage: Runner) -> None:
    told = triage(*(str(CASES / f"{NAMED[w]}.yaml") if w in NAMED else w for w in words.split()))
    assert says in told.refusal()
