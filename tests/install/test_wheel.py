"""Wheel and source archive: what is inside, that the wheel works elsewhere, and what it imports."""

import json
import sys
import tarfile
import tomllib
import zipfile
from importlib import metadata
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from tests.install.try_all_pythons import (
    CASE,
    ROOT,
    VERSIONS,
    build_with,
    declared,
    find_python,
    plain_name,
    try_python,
)
from tests.support.running import process

CASES = sorted(p.name for p in (ROOT / "cases").glob("*.yaml"))
RULES = sorted(p.relative_to(ROOT / "rules").as_posix() for p in (ROOT / "rules").rglob("*.yaml"))


@pytest.fixture(scope="module")
def built(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path]:
    pytest.importorskip("hatchling")
    return build_with(Path(sys.executable), tmp_path_factory.mktemp("built"))


def test_wheel_carries_rules_cases_and_licence(built: tuple[Path, Path]) -> None:
    with zipfile.ZipFile(built[0]) as archive:
        names = set(archive.namelist())
        for name in RULES:
            inside = archive.read(f"triage/_carried/rules/{name}")
            assert inside == (ROOT / "rules" / name).read_bytes()
    assert {f"triage/_carried/cases/{name}" for name in CASES} <= names
    assert any(name.endswith("licenses/LICENSE") for name in names)
    tops = {n.split("/")[0] for n in names}
    assert len(tops) == 2
    assert [top for top in tops if "dist-info" not in top] == ["triage"]
    assert not [n for n in names if n.endswith((".pyc", ".tmp", ".lock", ".index.json"))]
    assert "triage/tui/app.tcss" in names


def test_source_archive_can_be_built_and_tested(built: tuple[Path, Path]) -> None:
    with tarfile.open(built[1]) as archive:
        names = {n.split("/", 1)[1] for n in archive.getnames() if "/" in n}
    wanted = {"pyproject.toml", "README.md", "DEVELOPERS.md", "LICENSE", ".ci/run"}
    wanted |= {"tests/conftest.py"}
    wanted |= {f"rules/{name}" for name in RULES} | {f"cases/{name}" for name in CASES}
    assert wanted <= names


def test_unpacked_wheel_works_from_another_folder(built: tuple[Path, Path], tmp_path: Path) -> None:
    """With the packages of this environment; the empty environments are the slow test's."""
    site, home = tmp_path / "site", tmp_path / "home"
    home.mkdir()
    with zipfile.ZipFile(built[0]) as archive:
        archive.extractall(site)  # noqa: S202  (our own wheel)
    check = process("-m", "triage", "check", home=home, PYTHONPATH=str(site))
    assert check.returncode == 0, check.stderr
    assert str(site / "triage" / "_carried" / "rules") in check.stdout
    case = site / "triage" / "_carried" / "cases" / f"{CASE}.yaml"
    plan = process("-m", "triage", "plan", str(case), "--json", home=home, PYTHONPATH=str(site))
    assert json.loads(plan.stdout)["steps"], plan.stderr


# One process: commands of every face are run, then every other module is imported as well.
COMMANDS = """
import contextlib, importlib, io, pkgutil, sys
before = set(sys.modules)
from triage.cli import main
from triage.service import workshop
kept = workshop.open_workshop().consultant  # the rules are read once, not by each command
workshop.load_knowledge, workshop.Consultant = lambda _: kept.knowledge, lambda _: kept
case = {case!r}
out = io.StringIO()
with contextlib.redirect_stdout(out):
    for words in (
        ["check"], ["plan", case], ["plan", case, "--json"], ["list"], ["handbook"], ["schema", "agent"],
        ["sheet", case], ["air", "ethanol", "--ml", "1"], ["new", "x", "--taxon", "beetles"],
    ):
        code = main(words)
        assert code in (0, 2), words
import triage.tui.app, triage.plain.session, triage.airplot
print("\\n".join(sorted(set(sys.modules) - before)))
print("every module")
for found in pkgutil.walk_packages(triage.__path__, "triage."):
    if not found.name.endswith("__main__"):  # that one is the program itself
        importlib.import_module(found.name)
assert len([name for name in sys.modules if name.startswith("triage.")]) > 200
print("\\n".join(sorted(set(sys.modules) - before)))
"""


# Tried by a dependency that works without it: numpy's Fortran reader guesses text codes with it.
TRIED = {"charset-normalizer"}


def allowed_distributions(*, extras: bool) -> set[str]:
    """The declared dependencies and, all the way down, what they require without extras.

    ``extras``: with those that only some faces need, such as a PDF; never those of the tests or of who works on it.
    """
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    listed = list(project["dependencies"])
    for name, more in project["optional-dependencies"].items() if extras else ():
        listed += more if name not in ("test", "dev") else ()
    waiting = [Requirement(r) for r in listed]
    allowed: set[str] = set()
    while waiting:
        requirement = waiting.pop()
        name = plain_name(requirement.name)
        if name in allowed:
            continue
        allowed.add(name)
        try:
            inners = metadata.requires(name) or ()
        except metadata.PackageNotFoundError:
            continue  # an extra that nobody installed here: nothing of it can be imported
        for inner in inners:
            wanted = Requirement(inner)
            extras = {"extra": ""} if not requirement.extras else {"extra": min(requirement.extras)}
            if wanted.marker is None or wanted.marker.evaluate(extras):
                waiting.append(wanted)
    return allowed


def strangers(modules: str, allowed: set[str]) -> dict[str, list[str]]:
    """Return each top-level package among the modules that no allowed distribution brought."""
    owners = metadata.packages_distributions()
    tops = {name.split(".")[0] for name in modules.split()}
    assert {"textual", "experta"} <= tops
    known = allowed | {"triage"} | TRIED
    return {
        top: sorted(owners[top])
        for top in tops
        if top in owners and not {plain_name(d) for d in owners[top]} & known
    }


def test_nothing_but_declared_dependencies_is_imported(tmp_path: Path) -> None:
    case = str(ROOT / "cases" / f"{CASE}.yaml")
    done = process("-c", COMMANDS.format(case=case), home=tmp_path)
    assert done.returncode == 0, done.stderr
    commands, everything = done.stdout.split("every module")
    assert not strangers(commands, allowed_distributions(extras=False))
    assert not strangers(everything, allowed_distributions(extras=True))


def test_wheel_declares_what_pyproject_declares(built: tuple[Path, Path]) -> None:
    assert declared(built[0]) == {
        "experta", "pydantic", "pyyaml", "textual", "numpy", "scipy", "filelock", "platformdirs", "plotext", "textual-plotext", "shtab",
    }  # fmt: skip


@pytest.mark.slow
@pytest.mark.parametrize("version", VERSIONS)
def test_wheel_in_an_empty_environment(
    version: str, built: tuple[Path, Path], tmp_path: Path
) -> None:
    python = find_python(version)
    if python is None:
        pytest.skip(f"Python {version} is not at hand")
    lines = try_python(python, built[0], tmp_path / version)
    assert lines[0].startswith("triage ")
    assert "no fault" in lines[1]
