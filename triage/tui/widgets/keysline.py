"""The keys that work now, in the last line; a click on one presses it.

One widget with one text. The framework's own line is a widget for each key, made anew whenever
the focus moves: on a full screen that cost more than everything else a key press did.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from textual import events
from textual.binding import ActiveBinding, Binding
from textual.content import Content
from textual.dom import DOMNode
from textual.keys import format_key
from textual.screen import Screen
from textual.widgets import Input, Static

from triage.tui.keysets import key_name

# What is kept when the line is too short for all: the rest stands behind the key of the help.
STOPS = frozenset({"stop", "app.stop"})
WRITING = frozenset({"space", "backspace", "delete"})
ALWAYS = STOPS | {"keys", "app.keys"}


@dataclass(frozen=True, slots=True)
class Shown:
    """One key as it stands in the line."""

    key: str
    sign: str
    what: str
    action: str

    @property
    def width(self) -> int:
        """Columns it takes, with the space behind it."""
        return len(self.sign) + len(self.what) + 2


def _declared(node: DOMNode) -> dict[str, int]:
    """Return the place of each action in the bindings of a node as they are written."""
    places: dict[str, int] = {}
    for cls in reversed(type(node).__mro__):
        for binding in Binding.make_bindings(cls.__dict__.get("BINDINGS", ())):
            places.setdefault(binding.action, len(places))
    return places


def shown_keys(bindings: Mapping[str, ActiveBinding], *, is_writing: bool = False) -> list[Shown]:
    """Return what the line shows: one key for each action, in the order they are written in.

    The framework moves a binding to the end when its key is changed, and there it would be the
    first to be left out. Of the stop all keys are shown. While a line is written, what writes a
    sign is no key.
    """
    nodes: dict[DOMNode, dict[str, int]] = {}
    for active in bindings.values():
        if active.node not in nodes:
            nodes[active.node] = _declared(active.node)
    order = {node: at for at, node in enumerate(nodes)}
    shown: dict[str, Shown] = {}
    for active in sorted(
        bindings.values(),
        key=lambda each: (order[each.node], nodes[each.node].get(each.binding.action, 0)),
    ):
        binding = active.binding
        if not binding.show or not active.enabled or (is_writing and writes(binding.key)):
            continue
        sign = binding.key_display or key_name(binding.key)
        before = shown.get(binding.action)
        if before is None:
            shown[binding.action] = Shown(binding.key, sign, binding.description, binding.action)
        elif binding.action in STOPS:
            shown[binding.action] = replace(before, sign=f"{before.sign} {sign}")
    return list(shown.values())


def writes(key: str) -> bool:
    """Whether a key writes a sign in a line, or takes one away."""
    return len(key) == 1 or key in WRITING or len(format_key(key)) == 1


def fitting(keys: list[Shown], width: int) -> list[Shown]:
    """Return the keys that fit, the last ones left out first; STOP and the help always stay."""
    kept = list(keys)
    for key in reversed(keys):
        if sum(each.width for each in kept) - 1 <= width:
            break
        if key.action not in ALWAYS:
            kept.remove(key)
    return kept


class KeysLine(Static):
    """The last line of every screen."""

    ALLOW_SELECT = False
    can_focus = False

    def __init__(self, **more: Any) -> None:
        super().__init__("", **more)
        self._shown: list[Shown] = []

    def on_mount(self) -> None:
        """Follow the bindings of the screen."""
        self.screen.bindings_updated_signal.subscribe(self, self._changed)

    def on_resize(self, event: events.Resize) -> None:
        """Show what fits in the new width."""
        del event
        self._draw()

    def _changed(self, screen: Screen[Any]) -> None:
        if self.is_attached and screen is self.screen and screen.is_active:
            self._draw()

    def _draw(self) -> None:
        is_writing = isinstance(self.screen.focused, Input)
        keys = shown_keys(self.screen.active_bindings, is_writing=is_writing)
        shown = fitting(keys, self.size.width)
        if shown == self._shown:
            return
        self._shown = shown
        parts: list[str | tuple[str, str]] = []
        for key in shown:
            parts += [(key.sign, "bold underline"), f" {key.what} "]
        self.update(Content.assemble(*parts))

    def on_click(self, event: events.Click) -> None:
        """Press the key that was clicked."""
        column = 0
        for key in self._shown:
            column += key.width
            if event.x < column:
                self.app.simulate_key(key.key)
                return
