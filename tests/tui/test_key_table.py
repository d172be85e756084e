"""Keys under one hand: complete, without clashes, reachable, and stop apart from going on.

What records is used for nothing else. The places of the keys are those of ISO/IEC 9995-2
(alphanumeric section of the keyboard, rows and their offsets), for the three common orders of the
letters.
"""

import argparse
import importlib
import inspect
import pkgutil
from collections.abc import Iterator
from pathlib import Path

import pytest
from textual.binding import Binding
from textual.command import CommandPalette
from textual.dom import DOMNode
from textual.widgets import Digits, Input, OptionList, Static

import triage.tui
from tests.tui.list_labels import commands, screens
from triage.knowledge.book import Knowledge
from triage.tui.app import Palette, TriageApp
from triage.tui.keysets import ACTS, LEFT, RIGHT, SETS, TOLD_BY_THE_SCREEN, WORDS, KeySet, bind
from triage.tui.screens import observe
from triage.tui.widgets.animal import drawn_plans, load_drawing

EVERY_SET = pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
# Rows from the top, each with the offset of its first key in key widths; - where no key is.
TOP = (
    0.0,
    ["escape", *(key for n in (1, 5, 9) for key in ("-", *(f"f{n + i}" for i in range(4))))],
)
DIGITS = (0.0, ("^", *"1234567890", "minus", "equals", "backspace"))
ORDERS = {
    "qwerty": ("qwertyuiop", "asdfghjkl", (*"zxcvbnm", "comma", "full_stop")),
    "qwertz": ("qwertzuiop", "asdfghjkl", (*"yxcvbnm", "comma", "full_stop")),
    "azerty": ("azertyuiop", "qsdfghjklm", (*"wxcvbn", "comma", "semicolon", "full_stop")),
}
EVERY_ORDER = pytest.mark.parametrize("order", ORDERS)
EITHER_HAND = {"space"}
# Between the index fingers, row by row from the top.
BORDERS = (5.5, 5.5, 6.0, 6.25, 6.75, 6.75)
GOING_ON = ("choose", "leave", "start")
MAIN = (
    *("cannot-tell", "why", "undo", "timer", "pass", "later", "start", "look", "choose", "leave"),
    *("down", "up", "clean"),
)
# A line that is written takes every letter as a letter.
FRAMEWORK = (CommandPalette, Digits, OptionList, Static)


def places(order: str) -> dict[str, tuple[float, float]]:
    """Return row and column of the middle of each key."""
    above, home, lowest = ORDERS[order]
    rows = (TOP, DIGITS, (1.5, above), (1.75, home), (2.25, lowest))
    found = {
        key: (float(row), offset + at)
        for row, (offset, keys) in enumerate(rows)
        for at, key in enumerate(keys)
        if key != "-"
    }
    found["enter"] = (3.0, 12.75)
    found["tab"] = found["shift+tab"] = (2.0, 0.25)
    found["plus"] = (2.0, 12.5) if order == "qwertz" else (1.0, 12.0)
    # The block of arrows stands right of the lowest rows (ISO/IEC 9995-5).
    found["up"], found["down"] = (4.0, 15.5), (5.0, 15.5)
    return found


@EVERY_ORDER
@EVERY_SET
def test_stop_is_never_beside_going_on(keyset: KeySet, order: str) -> None:
    where = places(order)

    def apart(one: str, other: str) -> float:
        return max(abs(a - b) for a, b in zip(where[one], where[other], strict=True))

    for stop in keyset.keys_of("stop"):
        for act in GOING_ON:
            for key in keyset.keys_of(act):
                assert stop != key
                if key != "space":  # the lowest row of all, away from every stop
                    assert apart(stop, key) >= 2, (stop, key)
        for key in (*keyset.outcomes, *keyset.answers.lower()):
            assert apart(stop, key) > 1 or stop == "escape", (stop, key)


@EVERY_ORDER
def test_the_main_acts_lie_under_one_hand(order: str) -> None:
    """Touch typing parts the keyboard between 5 and 6, t and y, g and h, b and n."""
    where = places(order)
    for keyset, is_left in ((LEFT, True), (RIGHT, False)):
        keys = {*keyset.answers.lower(), *keyset.outcomes}
        keys |= {key for act in MAIN for key in keyset.keys_of(act)[:1]}
        for key in keys - EITHER_HAND:
            row, column = where[key]
            assert (column < BORDERS[int(row)]) is is_left, (keyset.id, key, order)


# -- what is bound -------------------------------------------------------------------------------


def widgets() -> Iterator[type[DOMNode]]:
    """Yield every class of the interface that may have keys."""
    for info in pkgutil.walk_packages(triage.tui.__path__, "triage.tui."):
        for _, each in inspect.getmembers(importlib.import_module(info.name), inspect.isclass):
            if issubclass(each, DOMNode) and not issubclass(each, Input):
                yield each
    yield from FRAMEWORK


def bindings(widget: type[DOMNode]) -> Iterator[Binding]:
    """Yield what a class binds itself."""
    yield from Binding.make_bindings(widget.__dict__.get("BINDINGS", ()))


def bound(keyset: KeySet) -> Iterator[tuple[str, str]]:
    """Yield each key that a set leaves or puts on an act, with the act, on all screens."""
    keymap = keyset.keymap()
    for widget in widgets():
        for base in widget.__mro__:
            for binding in bindings(base):
                if (binding.id or "").startswith("answer.") and binding.id not in keymap:
                    continue  # chosen in the list: the set has no key for it
                for key in keymap.get(binding.id or "", binding.key).split(","):
                    yield key, binding.action


def unbound(keyset: KeySet) -> Iterator[tuple[str, str]]:
    """Yield each key that a screen takes by itself: zones on the drawings, choices in a window."""
    for plan in drawn_plans():
        drawing = load_drawing(plan)
        assert drawing is not None
        yield from ((zone.key, f"{plan}: {zone.zone}") for zone in drawing.zones)
    yield (observe.WHOLE_SIGN, "observe: the whole specimen")
    yield from ((key, "a choice") for key in keyset.answers)


def ours() -> list[tuple[type, Binding]]:
    """Return every binding that a class of the interface declares itself."""
    return [
        (widget, binding)
        for widget in widgets()
        if widget.__module__.startswith("triage.") and not issubclass(widget, CommandPalette)
        for binding in bindings(widget)
    ]


def test_nothing_is_left_out_of_what_is_read() -> None:
    assert {*screens(), TriageApp} <= set(widgets())


@EVERY_SET
def test_what_records_is_used_for_nothing_else(keyset: KeySet) -> None:
    """On any screen, for any act: neither to start, nor to look, nor to answer."""
    found = [*bound(keyset), *unbound(keyset)]
    recording = {key for key, act in found if act.startswith("outcome(")}
    assert recording == set(keyset.outcomes)
    assert len(keyset.outcomes) == len(recording)
    assert not {each for each in found if each[0] in recording and "outcome(" not in each[1]}


@EVERY_SET
def test_a_key_has_one_meaning_in_the_whole_program(keyset: KeySet) -> None:
    """On all screens, whichever stands: one act, by one name, taken from the table."""
    keymap, meant = keyset.keymap(), {}
    for _, binding in ours():
        assert binding.description
        name = "" if binding.id in TOLD_BY_THE_SCREEN else binding.description
        for key in keymap[binding.id or ""].split(","):
            meant.setdefault(key, set()).add((binding.id, name))
    assert len(meant) > 50
    assert {key: acts for key, acts in meant.items() if len(acts) > 1} == {}
    # What is chosen by a sign of its own, on a drawing or in a window, is no key of an act.
    acts = {key for act in ACTS for key in keyset.keys_of(act)}
    assert not {key for key, _ in unbound(keyset)} & acts
    # The framework brings keys to move along, and no letters.
    brought = {key for key, act in bound(keyset) if len(key) == 1} - {*meant}
    assert not brought


@EVERY_SET
def test_one_key_goes_back_everywhere_and_stop_is_bound_to_nothing_else(keyset: KeySet) -> None:
    keymap, stops = keyset.keymap(), keyset.keys_of("stop")
    bases = {base for screen in screens() for base in screen.__mro__[1:]}
    for screen in {*screens(), Palette} - bases:
        acts: dict[str, set[str]] = {}
        for holder in (screen, TriageApp):
            for _, binding in holder._merge_bindings():
                for key in keymap.get(binding.id or "", binding.key).split(","):
                    acts.setdefault(key.strip(), set()).add(binding.action)
        assert acts.get("f9") == {"leave"}, screen
        for key in stops:
            assert acts[key] <= {"stop", "app.stop"}, (screen, key)
    assert {act for key, act in bound(keyset) if key in stops} <= {"stop", "app.stop", "escape"}
    assert not {key for key, _ in unbound(keyset)}.intersection(stops)


def test_what_starts_in_one_set_records_in_none() -> None:
    """A set may be changed in the middle of the work, the habit of the hand is slower."""
    starting = (*GOING_ON, "look", "stop")
    started = {key for each in SETS.values() for act in starting for key in each.keys_of(act)}
    assert not started & {key for each in SETS.values() for key in each.outcomes}


def test_no_key_is_written_but_in_the_table() -> None:
    for _, binding in ours():
        assert binding.key in WORDS.keys_of(binding.id or ""), binding
    for path in Path(triage.tui.__path__[0]).rglob("*.py"):
        made = path.read_text(encoding="utf-8").count("Binding(")
        assert made == 0 or path.name == "keysets.py", path
    with pytest.raises(ValueError, match="s is start and answer"):
        KeySet("words", "with a second meaning", "s", WORDS.outcomes)
    with pytest.raises(ValueError, match="called Look on every screen"):
        bind("look", "look", "Glance")


@EVERY_SET
def test_every_question_can_be_answered_by_key(keyset: KeySet, knowledge: Knowledge) -> None:
    most = max(len(each.answers) for each in knowledge.questions.values())
    assert len(keyset.answers) >= most
    assert len(set(keyset.answers)) == len(keyset.answers)


# -- what the command line says -------------------------------------------------------------------


@pytest.mark.parametrize(("name", "parser"), list(commands()), ids=lambda each: str(each)[:20])
def test_every_command_explains_itself(name: str, parser: argparse.ArgumentParser) -> None:
    assert parser.description
    assert parser.description.endswith(".")
    assert f"example: triage {name.partition(' ')[0]}" in (parser.epilog or "")
    for action in parser._actions:
        if not isinstance(action, argparse._SubParsersAction):
            assert action.help, f"{name}: {action.dest} has no help"
