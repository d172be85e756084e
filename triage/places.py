"""Where things live: the carried rules and demo cases, the user's cases and bench."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from platformdirs import user_data_path

HOME_VARIABLE = "TRIAGE_HOME"
_HERE = Path(__file__).resolve().parent


def carried(name: str) -> Path:
    """Return a folder that comes with the program: beside it in a checkout, inside a wheel."""
    inside = _HERE / "_carried" / name
    return inside if inside.is_dir() else _HERE.parent / name


def rules_folder() -> Path:
    """Return the folder of the knowledge that comes with the program."""
    return carried("rules")


def _own(name: str) -> Path:
    """Return a place in ``TRIAGE_HOME``, else in the platform's folder of the user's data."""
    home = os.environ.get(HOME_VARIABLE, "")
    return (Path(home).expanduser() if home else user_data_path("triage", appauthor=False)) / name


def settings_file() -> Path:
    """Return the file of the user's own settings (it need not exist yet)."""
    return _own("settings.yaml")


def cases_folder() -> Path:
    """Return the folder of the user's cases (it need not exist yet)."""
    return _own("cases")


def demo_copy_folder() -> Path:
    """Return the folder into which the demo cases are copied before they are worked on."""
    return _own("demo")


def copy_demo(target: Path) -> Path:
    """Copy the demo cases into the user's own folder, leaving files that are there already."""
    target.mkdir(parents=True, exist_ok=True)
    demo = carried("cases")
    for source in sorted(demo.rglob("*")):
        place = target / source.relative_to(demo)
        if source.is_dir():
            place.mkdir(exist_ok=True)
        elif not place.exists():
            shutil.copyfile(source, place)
    return target
