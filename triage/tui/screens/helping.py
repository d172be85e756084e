"""The keys that work here, read from the bindings themselves."""

from __future__ import annotations

from collections.abc import Mapping

from textual.binding import ActiveBinding
from textual.content import Content

from triage.tui.keysets import key_name
from triage.tui.screens.detail import DetailScreen

# Keys that lists and inputs bring along and that need no line in the help.
OURS = "triage."
MOVING = ("cursor_", "page_", "scroll", "first", "last")
QUIET = frozenset({"tab", "shift+tab", "ctrl+c", "super+c", "ctrl+q"})


def keys_text(bindings: Mapping[str, ActiveBinding]) -> str:
    """Return one line for each thing a key does, all its keys before it; STOP comes first."""
    doing: dict[str, list[str]] = {}
    for key, active in bindings.items():
        ours = type(active.node).__module__.startswith(OURS)
        if active.binding.action.startswith(MOVING):
            continue
        if active.enabled and key not in QUIET and active.binding.description and ours:
            shown = active.binding.key_display or key_name(key)
            doing.setdefault(active.binding.description, []).append(shown)
    width = max((len(_joined(keys)) for keys in doing.values()), default=0)
    lines = [
        (what.upper() != what, f"{_joined(keys):<{width}}  {what}") for what, keys in doing.items()
    ]
    return "\n".join(line for _, line in sorted(lines, key=lambda pair: pair[0]))


def _joined(keys: list[str]) -> str:
    digits = [key for key in keys if key.isdigit()]
    if len(digits) > 2:
        others = [key for key in keys if not key.isdigit()]
        return " ".join([f"{digits[0]}-{digits[-1]}", *others])
    return " ".join(keys)


class HelpScreen(DetailScreen):
    """The keys that work on the screen below."""

    def __init__(self, bindings: Mapping[str, ActiveBinding], more: str) -> None:
        super().__init__("Keys that work here", Content(f"{keys_text(bindings)}\n\n{more}"))
