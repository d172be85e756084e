"""Where things live: the carried rules and demo cases, the user's cases and bench."""

from __future__ import annotations

import os
import shutil
from pathlib import Path

from platformdirs import user_cache_path, user_data_path

HOME_VARIABLE = "TRIAGE_HOME"
_HERE = Path(__file__).resolve().parent


def carried(name: str) -> Path:
    """Return a folder that comes with the program: beside it in a checkout, inside a wheel."""
    inside = _HERE / "_carried" / name
    return inside if inside.is_dir() else _HERE.parent / name


def rules_folder() -> Path:
    """Return the folder of the knowledge that comes with the program."""
    return carried("rules")


def demo_folder() -> Path:
    """Return the folder of the demo cases that come with the program."""
    return carried("cases")


def home_folder() -> Path:
    """Return the user's own folder: ``TRIAGE_HOME``, else the platform's place for user data."""
    named = os.environ.get(HOME_VARIABLE, "")
    return Path(named).expanduser() if named else user_data_path("triage", appauthor=False)


def _cache_folder() -> Path:
    named = os.environ.get(HOME_VARIABLE, "")
    return Path(named).expanduser() if named else user_cache_path("triage", appauthor=False)


def list_cache() -> Path:
    """Return the file in which the last list of cases is kept between runs."""
    return _cache_folder() / "list-cache.json"


def settings_file() -> Path:
    """Return the file of the user's own settings (it need not exist yet)."""
    return home_folder() / "settings.yaml"


def cases_folder() -> Path:
    """Return the folder of the user's cases (it need not exist yet)."""
    return home_folder() / "cases"


def demo_copy_folder() -> Path:
    """Return the folder into which the demo cases are copied before they are worked on."""
    return home_folder() / "demo"


def copy_demo(target: Path) -> Path:
    """Copy the demo cases into the user's own folder, leaving files that are there already."""
    target.mkdir(parents=True, exist_ok=True)
    for source in sorted(demo_folder().rglob("*")):
        place = target / source.relative_to(demo_folder())
        if source.is_dir():
            place.mkdir(exist_ok=True)
        elif not place.exists():
            shutil.copyfile(source, place)
    return target
