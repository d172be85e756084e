"""What a person has chosen once and finds again: keys, theme, movement, sound."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from triage.errors import TriageError, Where, did_you_mean

# setting -> the words it may hold; none given: any word, judged where it is used.
KNOWN: Mapping[str, tuple[str, ...]] = {
    "keys": ("words", "left", "right"),
    "theme": (),
    "motion": ("on", "off"),
    "sound": ("on", "off"),
}


@dataclass(frozen=True)
class Settings:
    """The choices, and whatever else stands in the file.

    ``place`` is the file in which they are kept (None: nowhere), ``fault`` what was wrong with it.
    """

    keys: str = "words"
    theme: str = ""
    motion: str = "on"
    sound: str = "on"
    others: Mapping[str, Any] = field(default_factory=dict)
    place: Path | None = field(default=None, compare=False)
    fault: str = field(default="", compare=False)


def chosen(place: Path, keys: str | None = None) -> Settings:
    """Return the settings of a file; a broken one is told and never written over."""
    try:
        found = replace(load_settings(place), place=place)
    except (TriageError, OSError) as fault:
        found = Settings(fault=str(fault))
    return found if keys is None else replace(found, keys=keys)


def load_settings(path: Path) -> Settings:
    """Return the settings of a file; those that say nothing if there is none.

    Raises
    ------
    TriageError: the file is no YAML, or a setting holds what it cannot be.
    """
    if not path.is_file():
        return Settings()
    # Read only where there is something to read: most starts need no YAML for this.
    from triage.yamltext import parse_yaml, read_text  # noqa: PLC0415

    parsed = parse_yaml(read_text(path, path.name), path.name)
    content = {} if parsed.data is None else parsed.data
    if not isinstance(content, dict):
        raise TriageError(
            "these are no settings", Where(path.name, 1), "write lines like keys: left"
        )
    for name, words in KNOWN.items():
        held = content.get(name, "")
        where = Where(path.name, parsed.line_of((name,)), name)
        if isinstance(held, bool):
            held = "on" if held else "off"
            content[name] = held
        if not isinstance(held, str):
            raise TriageError(f"{held!r} is no word", where, "write a word")
        if held and words and held not in words:
            raise TriageError(f'"{held}" is not known here', where, did_you_mean(held, words))
    known = {name: content[name] for name in KNOWN if content.get(name)}
    others = {name: held for name, held in content.items() if name not in KNOWN}
    return replace(Settings(others=others), **known)


def save_settings(path: Path, settings: Settings) -> None:
    """Write the settings in one step; what the program does not know stays in the file.

    Raises
    ------
    TriageError: the file there is broken (it is left as it is), or cannot be written.
    """
    from triage.case.store import replace_text  # noqa: PLC0415  (only this act writes)
    from triage.yamltext import dump_yaml  # noqa: PLC0415

    others = load_settings(path).others
    content = {name: getattr(settings, name) for name in KNOWN if getattr(settings, name)}
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
    except OSError as fault:
        raise TriageError(
            f"the settings cannot be kept: {fault.strerror}", Where(path.name), "check the folder"
        ) from None
    replace_text(path, dump_yaml({**content, **others}))
