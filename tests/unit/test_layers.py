"""Imports go down only: contracts over all imports, and what a fresh process really loads."""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
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
    env = {**os.environ, "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=False, cwd=ROOT, env=env
    )
    assert done.returncode == 0, done.stderr[-600:]


def test_no_interface_library_below_the_interface() -> None:
    below = [m for m in MODULES if m not in under(*FACES) and m != "triage.airplot"]
    assert len(below) > 100
    fresh(below, {"textual", "textual_plotext", "rich"})


def test_a_command_is_named_without_engine_interface_or_arrays() -> None:
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
    files = [
        path
        for path in (ROOT / "tests").rglob("*.py")
        if second.search(path.read_text(encoding="utf-8"))
    ]
    assert files == []
