"""How case files are called, and how a path is shown."""

from __future__ import annotations

from pathlib import Path

from triage.errors import control_character

SUFFIX = ".yaml"
NOT_CASES = frozenset({"bench.yaml"})
# Device names of Windows, whatever the ending; a folder is carried from one machine to another.
# Source: Microsoft, "Naming Files, Paths, and Namespaces", naming conventions.
RESERVED = frozenset(
    {"con", "prn", "aux", "nul", *(f"{port}{n}" for port in ("com", "lpt") for n in range(10))}
)


def is_reserved(stem: str) -> bool:
    """Return whether some platform cannot have a file of this name."""
    return stem.partition(".")[0].strip().lower() in RESERVED


def is_case_name(name: str) -> bool:
    """Return whether a file of this name in a case folder is taken for a case."""
    return name.endswith(SUFFIX) and not name.startswith((".", "_")) and name not in NOT_CASES


def is_overlooked_name(name: str) -> bool:
    """Return whether a file is no case only because of its ending, such as ``.yml``."""
    return (
        Path(name).suffix.casefold() in (SUFFIX, ".yml")
        and not name.startswith((".", "_"))
        and not name.endswith(SUFFIX)
    )


def shown_path(path: Path) -> str:
    """Return a path fit for a terminal: control characters are shown as ``?``."""
    text = str(path).encode("utf-8", "replace").decode("utf-8")
    if not control_character(text):
        return text
    return "".join("?" if control_character(letter) else letter for letter in text)


def one_line(text: str) -> str:
    """Return a text on one line, so that it stands as one among others."""
    return " ".join(text.split())
