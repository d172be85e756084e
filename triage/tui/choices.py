"""The settings of a run: what is kept, where, and what was wrong with the file."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

from triage.errors import TriageError
from triage.service.settings import Settings, load_settings


@dataclass(frozen=True)
class Choices:
    """The settings, the file they are kept in (None: nowhere), and what was wrong with it."""

    settings: Settings
    place: Path | None
    fault: str = ""


def chosen(place: Path, keys: str | None = None) -> Choices:
    """Return the settings of a file; a broken one is told and never written over."""
    try:
        choices = Choices(load_settings(place), place)
    except (TriageError, OSError) as fault:
        choices = Choices(Settings(), None, str(fault))
    if keys is not None:
        choices = replace(choices, settings=replace(choices.settings, keys=keys))
    return choices
