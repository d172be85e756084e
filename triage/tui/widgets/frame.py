"""What frames every screen: where one is, what went wrong in place, the keys that work now."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from rich.cells import cell_len, set_cell_size
from textual import events
from textual.binding import ActiveBinding
from textual.containers import Horizontal
from textual.content import Content
from textual.keys import format_key
from textual.screen import Screen
from textual.widgets import Input, Static

from triage.tui.keysets import ACTS, key_name


class FaultLine(Static):
    """Hidden until there is a fault to show; shows words, not only a colour."""

    text = ""

    def __init__(self, **more: Any) -> None:
        super().__init__("", **more)
        self.display = False

    def show(self, text: str, word: str = "CANNOT DO THAT") -> None:
        """Show a fault, or under another word what is none but must be seen; no text hides it."""
        self.text = text
        self.update(Content(f"{word}: {text}"))
        self.display = bool(text)


DOTS = "..."
LEAST_NAME = 8


def fitted(place: str, width: int) -> str:
    """Return a place that fits a width in cells: the name is cut, what stands behind it stays.

    What stands behind the name of a case (stage, rung, pass) changes while one works; the name
    does not.
    """
    if cell_len(place) <= width:
        return place
    name, behind, rest = place, "", ""
    if found := re.search(r" · |: ", place):
        name, behind, rest = place[: found.start()], found[0], place[found.end() :]
    room = width - cell_len(behind + rest)
    if room < LEAST_NAME:
        return _cut(place, width)
    return f"{_cut(name, room)}{behind}{rest}"


def _cut(text: str, width: int) -> str:
    return f"{set_cell_size(text, max(0, width - len(DOTS))).rstrip(' ,;:')}{DOTS}"


class Place(Static):
    """Where one is, cut to the width there is."""

    def __init__(self, place: str, **more: Any) -> None:
        super().__init__(Content(place), **more)
        self._place = place

    def show(self, place: str) -> None:
        """Say where one is."""
        self._place = place
        self._draw()

    def on_resize(self) -> None:
        """Fit what is said into the new width."""
        self._draw()

    def _draw(self) -> None:
        width = self.content_size.width
        place = fitted(self._place, width) if width else self._place
        self.update(Content(place), layout=False)  # its room is fixed: nothing moves


class TitleBar(Horizontal):
    """Where one is on the left, the timer that ends first on the right."""

    _said = ""

    def __init__(self, place: str) -> None:
        self.place, self.said = Place(place, id="place"), Static("", id="running")
        super().__init__(self.place, self.said)

    def show_running(self, text: str) -> None:
        """Say what is running."""
        if text != self._said:
            self._said = text
            self.said.update(Content(text))


WRITING = frozenset({"space", "backspace", "delete"})
# What is kept when the line is too short for all: the rest stands behind the key of the help.
ALWAYS = frozenset({"stop", "keys"})
ORDER = {act: at for at, act in enumerate(ACTS)}


@dataclass(frozen=True, slots=True)
class Shown:
    """One key as it stands in the line."""

    key: str
    sign: str
    what: str
    act: str

    @property
    def width(self) -> int:
        """Columns it takes, with the space behind it."""
        return len(self.sign) + len(self.what) + 2


def shown_keys(bindings: Iterable[ActiveBinding], *, is_writing: bool = False) -> list[Shown]:
    """Return what the line shows: one key for each act, in the order of the table; every stop.

    While a line is written, what writes a sign is no key.
    """
    shown: dict[str, Shown] = {}
    for active in sorted(bindings, key=lambda each: ORDER.get(each.binding.id or "", -1)):
        key, act, what = active.binding.key, active.binding.id or "", active.binding.description
        if not active.binding.show or not active.enabled or (is_writing and writes(key)):
            continue
        if act not in shown:
            shown[act] = Shown(key, key_name(key), what, act)
        elif act == "stop":
            shown[act] = replace(shown[act], sign=f"{shown[act].sign} {key_name(key)}")
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
        if key.act not in ALWAYS:
            kept.remove(key)
    return kept


class KeysLine(Static):
    """The last line of every screen."""

    ALLOW_SELECT = False
    can_focus = False
    _shown: list[Shown] = []

    def on_mount(self) -> None:
        """Follow the bindings of the screen."""
        self.screen.bindings_updated_signal.subscribe(self, self._changed)

    def on_resize(self) -> None:
        """Show what fits in the new width."""
        self._draw()

    def _changed(self, screen: Screen[Any]) -> None:
        if self.is_attached and screen is self.screen and screen.is_active:
            self._draw()

    def _draw(self) -> None:
        is_writing = isinstance(self.screen.focused, Input)
        keys = shown_keys(self.screen.active_bindings.values(), is_writing=is_writing)
        shown = fitting(keys, self.size.width)
        if shown == self._shown:
            return
        self._shown = shown
        parts: list[str | tuple[str, str]] = []
        for key in shown:
            parts += [(key.sign, "bold underline"), f" {key.what} "]
        self.update(Content.assemble(*parts), layout=False)

    def on_click(self, event: events.Click) -> None:
        """Press the key that was clicked."""
        column = 0
        for key in self._shown:
            column += key.width
            if event.x < column:
                self.app.simulate_key(key.key)
                return
