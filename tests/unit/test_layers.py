"""Imports go down only, and the rulebase comes from the rule files alone."""

import ast
import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.support.knowledge import ROOT, RULES, copy_demo, shipped
from tests.support.running import process
from triage.errors import TriageError
from triage.knowledge.load import load_knowledge
from triage.yamltext import parse_yaml

MODULES = sorted(
    ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")
    for path in (ROOT / "triage").rglob("*.py")
    if "_carried" not in path.parts
)
FACES = ("triage.tui", "triage.browser", "triage.commands", "triage.cli", "triage.__main__")


def under(*packages: str) -> list[str]:
    return [m for m in MODULES if any(m == p or m.startswith(f"{p}.") for p in packages)]


def fresh(modules: list[str], forbidden: set[str]) -> None:
    """Import modules one after the other in a fresh process; name the first that loads too much."""
    code = (
        "import importlib, sys\n"
        f"for name in {modules!r}:\n"
        "    importlib.import_module(name)\n"
        f"    found = {forbidden!r} & set(sys.modules)\n"
        "    assert not found, f'{name} loads {sorted(found)}'\n"
    )
    process("-c", code, home=ROOT).said()


def test_no_interface_library_below_the_interface_and_no_engine_to_name_a_command() -> None:
    below = [m for m in MODULES if m not in under(*FACES) and m != "triage.airplot"]
    assert len(below) > 100
    fresh(below, {"textual", "textual_plotext", "rich"})
    fresh(["triage.cli", *under("triage.commands")], {"experta", "textual", "numpy", "scipy"})


@pytest.mark.parametrize(
    "package",
    sorted({".".join(m.split(".")[:2]) for m in MODULES if m != "triage"} - {"triage.__main__"}),
)
def test_package_can_be_imported_first(package: str) -> None:
    # A circle of imports shows only when its members are entered from the wrong end.
    fresh([package], set())


def test_contracts_hold() -> None:
    found = shutil.which(
        "lint-imports", path=f"{Path(sys.executable).parent}{os.pathsep}{os.environ['PATH']}"
    )
    assert found, "import-linter is in the extra `test`"
    env = {**os.environ, "PYTHONPATH": str(ROOT), "NO_COLOR": "1"}
    done = subprocess.run(
        [found, "--no-cache"], capture_output=True, text=True, check=False, cwd=ROOT, env=env
    )
    assert done.returncode == 0, done.stdout[-2500:]
    assert "0 broken" in done.stdout


def test_support_has_one_name() -> None:
    """Under a second name its module is a second one, and loads and compiles the rules again."""
    second = re.compile(r"^\s*(from|import) support\b", re.MULTILINE)
    files = (ROOT / "tests").rglob("*.py")
    assert [path for path in files if second.search(path.read_text(encoding="utf-8"))] == []


# Modules of the standard library whose readers may run what a file says.
RUNNING = frozenset({"pickle", "marshal", "shelve", "dbm", "copyreg", "runpy"})


def test_two_readings_of_the_rules_find_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("triage.knowledge.load.parse_yaml", parse_yaml)  # nothing is shared here
    found = load_knowledge(RULES)
    assert found == shipped()
    assert (found.places, found.parts, found.root) == (shipped().places, shipped().parts, RULES)


def test_a_changed_rule_holds_at_the_next_load(tmp_path: Path) -> None:
    rules = tmp_path / "rules"
    shutil.copytree(ROOT / "rules", rules)
    first = load_knowledge(rules)
    target = rules / "glossary.yaml"
    before = target.read_text(encoding="utf-8")
    target.write_text("- id: [broken\n", encoding="utf-8")
    with pytest.raises(TriageError, match=r"glossary\.yaml"):
        load_knowledge(rules)
    target.write_text(before, encoding="utf-8")
    assert load_knowledge(rules) == first


IN_BOTH = """\
import os, sys
from triage.cli import main
for home in (sys.argv[1], ""):
    os.environ["TRIAGE_HOME"] = home
    assert main(["plan", sys.argv[2]]) == 0
"""


def test_nothing_made_of_the_rules_is_kept_where_a_user_may_write(tmp_path: Path) -> None:
    """In a folder of one's own, or in those of the platform: others may change what stands there."""
    home, cases = tmp_path / "home", tmp_path / "cases"
    home.mkdir()
    copy_demo(cases)
    own = dict.fromkeys(("HOME", "USERPROFILE", "LOCALAPPDATA"), str(home))
    words = ("-c", IN_BOTH, str(home), str(cases / "bumblebee-plate-3.yaml"))
    done = process(*words, home=home, **own)
    assert done.said().startswith("case bumblebee-plate-3")
    assert not [p for p in home.rglob("*") if p.is_file() and p.suffix != ".pyc"]


def test_no_part_of_the_program_reads_a_form_that_can_run() -> None:
    found = set()
    for path in (ROOT / "triage").rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
            names += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
            found |= {(path.name, name) for name in names if name.split(".")[0] in RUNNING}
    assert not found
