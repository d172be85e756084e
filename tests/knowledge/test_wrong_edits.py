"""A practitioner edits a copy of the rules wrongly: each wrong edit is one line with its mend.

``triage check`` names the exact line, the entry and what to do; ``triage plan`` with the same copy
refuses to plan. A file that no edit has touched is parsed once for all; the test of several faults
shares nothing.
"""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest
import yaml

from tests.support.knowledge import CASES, ROOT
from tests.support.running import Runner
from triage.yamltext import parse_yaml

CASE = CASES / "bumblebee-plate-3.yaml"


@dataclass(frozen=True)
class Edit:
    file: str
    after: str
    old: str
    new: str
    entry: str
    says: str
    mend: str
    at: str = ""


def _edits() -> list[dict[str, Edit]]:
    """Return the edits of each copy; all signs of a deposit are not typed again."""
    held = yaml.safe_load(Path(__file__).with_name("wrong_edits.yaml").read_text(encoding="utf-8"))
    for edit in (edit for copy in held for edit in copy.values()):
        if edit["old"].startswith("signs of "):
            file = ROOT / "rules/deposits" / f"{edit['old'].removeprefix('signs of ')}.yaml"
            text = file.read_text(encoding="utf-8")
            edit["old"] = text[text.index("signs:") : text.index("\n\n", text.index("signs:"))]
    assert sum(map(len, held)) >= 80
    return [{name: Edit(**edit) for name, edit in copy.items()} for copy in held]


EDITS = _edits()


def _expected_line(copy: Path, edit: Edit) -> tuple[str, int]:
    """Return the file and line in which the wrong text stands."""
    file, sign, wanted = edit.at.rpartition("|")
    text = (copy / (file if sign else edit.file)).read_text(encoding="utf-8")
    start = 0 if sign else max(text.find(edit.after), 0)
    found = text.index(wanted or edit.new.lstrip(), start)
    return file if sign else edit.file, text.count("\n", 0, found) + 1


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    return shutil.copytree(ROOT / "rules", tmp_path / "rules")


@pytest.fixture
def said(triage: Runner) -> Callable[..., list[str]]:
    def refused(*words: object) -> list[str]:
        told = triage(*map(str, words))
        assert (told.returncode, told.stdout) == (2, "")
        assert "Traceback" not in told.stderr
        return told.stderr.splitlines()

    return refused


Said = Callable[..., list[str]]


def _fault(copy: Path, edit: Edit, lines: list[str]) -> str:
    """Return what is missing from what was said of an edit."""
    file, number = _expected_line(copy, edit)
    place = f"rules/{file}:{number}"
    fitting = [x for x in lines if x.startswith((f"{place} ", f"{place}:"))]
    if not fitting:
        return f"{place} is not named"
    wanted = (edit.says, edit.entry, edit.mend)
    said = next((x for x in fitting if edit.says in x), "")
    return "" if all(each in said for each in wanted) else f"{wanted} is not said in {fitting}"


@pytest.mark.parametrize("edits", EDITS, ids=lambda edits: next(iter(edits)))
def test_wrong_edit_names_line_entry_and_mend(
    edits: dict[str, Edit], copy: Path, said: Said
) -> None:
    for edit in edits.values():
        path = copy / edit.file
        text = path.read_text(encoding="utf-8")
        start = text.index(edit.old, text.index(edit.after))
        path.write_text(text[:start] + edit.new + text[start + len(edit.old) :], encoding="utf-8")
    lines = said("check", "--rules", copy)
    faults = {name: fault for name, edit in edits.items() if (fault := _fault(copy, edit, lines))}
    assert not faults, "\n".join([*(f"{name}: {fault}" for name, fault in faults.items()), *lines])
    # A plan loads the rules in the same way as a check does: it refuses the same copy. Some show it.
    if EDITS.index(edits) % 5 == 0:
        assert set(lines) <= set(said("plan", CASE, "--rules", copy))


BROKEN_FOLDERS: dict[str, tuple[Callable[[Path], object], str, str]] = {
    "file renamed": (
        lambda copy: (copy / "agents/heptane.yaml").rename(copy / "agents/heptan.yaml"),
        'rules/agents/heptan.yaml:1 agent "heptane": the file is named "heptan"', "name the file heptane.yaml",
    ),
    "deposit renamed": (
        lambda copy: (copy / "deposits" / "rust.yaml").rename(copy / "deposits" / "iron-rust.yaml"),
        'rules/deposits/iron-rust.yaml:1 deposit "rust": the file is named "iron-rust"', "name the file rust.yaml",
    ),
    "two deposits in a file": (
        lambda copy: (copy / "deposits" / "rust.yaml").write_text("- id: rust\n- id: verdigris\n"),
        "rules/deposits/rust.yaml:1: one deposit a file", "give each a file of its own",
    ),
    "file that nothing reads": (
        # A misspelt file of interlocks would be taken to hold.
        lambda copy: shutil.copy(copy / "forbid.yaml", copy / "forbids.yaml"),
        "rules/forbids.yaml: nothing reads this file", "move its entries to the file of their kind",
    ),
    "file missing": (lambda copy: (copy / "zones.yaml").unlink(), "rules/zones.yaml: no such file", "check the name"),
    "folder of agents empty": (
        lambda copy: [path.unlink() for path in (copy / "agents").glob("*.yaml")],
        "rules/agents: the folder is empty", "add files: agent",
    ),
    "file in place of a folder": (
        lambda copy: (shutil.rmtree(copy / "methods"), (copy / "methods").write_text("- id: x\n")),
        'rules/methods:1 method "x"', "is missing; add",
    ),
    "file empty": (lambda copy: (copy / "fragility.yaml").write_text(""), "rules/fragility.yaml:1: no entries", "begin with - id:"),
    "not UTF-8": (
        lambda copy: (copy / "stops.yaml").write_bytes("- id: x\n  see: naïve\n".encode("latin-1")),
        "rules/stops.yaml:2: byte 0xEF is not UTF-8 text", "save the file as UTF-8",
    ),
    "second document": (
        lambda copy: (copy / "stops.yaml").write_text("- id: x\n---\n- id: y\n"),
        "rules/stops.yaml:2: a second document begins here", "keep one document",
    ),
    "mapping without entries": (
        lambda copy: (copy / "stops.yaml").write_text("just words\n"),
        "rules/stops.yaml:1: a list of entries is expected", "begin with - id:",
    ),
}  # fmt: skip


@pytest.mark.parametrize("name", BROKEN_FOLDERS)
def test_broken_folder_is_refused_with_a_mend(name: str, copy: Path, said: Said) -> None:
    spoil, says, mend = BROKEN_FOLDERS[name]
    spoil(copy)
    lines = said("check", "--rules", copy)
    line = next((each for each in lines if each.startswith(says)), "")
    assert line, "\n".join(lines)
    assert mend in line
    if name in ("file missing", "file empty"):
        assert line in said("plan", CASE, "--rules", copy)


def test_every_fault_of_a_run_is_one_line(
    copy: Path, said: Said, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr("triage.knowledge.load.parse_yaml", parse_yaml)
    for file, old, new in (
        ("deposits/pollen.yaml", "kind: loose", "kind: lose"),
        ("stops.yaml", "  see: Colour", "  sea: Colour"),
        ("agents/heptane.yaml", "basis: twa", "basis: twaa"),
    ):
        path = copy / file
        path.write_text(path.read_text(encoding="utf-8").replace(old, new, 1), encoding="utf-8")
    lines = said("check", "--rules", copy)
    assert all(line.startswith("rules/") and "; " in line for line in lines)
    named = {line.split(":")[0] for line in lines}
    assert named == {"rules/deposits/pollen.yaml", "rules/stops.yaml", "rules/agents/heptane.yaml"}
    assert len(lines) == 4  # a misspelt key is both unknown and missing
