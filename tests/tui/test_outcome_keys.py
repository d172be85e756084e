"""What records is used for nothing else, and not by a key that was pressed too soon."""

from __future__ import annotations

import importlib
import inspect
import pkgutil
from collections.abc import Iterator

import pytest
from textual.binding import Binding
from textual.command import CommandPalette
from textual.dom import DOMNode
from textual.widgets import Digits, Input, OptionList, Static

import triage.tui
from tests.tui.driving import Pulse, driven
from tests.tui.list_labels import screens
from triage.service.workshop import Workshop
from triage.tui.app import Palette, TriageApp
from triage.tui.keysets import SETS, KeySet
from triage.tui.screens import observe
from triage.tui.screens.base import OPENING_S
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.recording import RecordedScreen
from triage.tui.screens.walk import WalkScreen
from triage.tui.widgets.animal import drawn_plans, load_drawing

CASE = "bumblebee-plate-3"
# A line that is written takes every letter as a letter.
FRAMEWORK = (CommandPalette, Digits, OptionList, Static)


def widgets() -> Iterator[type[DOMNode]]:
    """Yield every class of the interface that may have keys."""
    for info in pkgutil.walk_packages(triage.tui.__path__, "triage.tui."):
        for _, each in inspect.getmembers(importlib.import_module(info.name), inspect.isclass):
            if issubclass(each, DOMNode) and not issubclass(each, Input):
                yield each
    yield from FRAMEWORK


def bound(keyset: KeySet) -> Iterator[tuple[str, str]]:
    """Yield each key that a set leaves or puts on an act, with the act, on all screens."""
    keymap = keyset.keymap()
    for widget in widgets():
        for base in widget.__mro__:
            for binding in Binding.make_bindings(base.__dict__.get("BINDINGS", ())):
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


@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
def test_what_records_is_used_for_nothing_else(keyset: KeySet) -> None:
    """On any screen, for any act: neither to start, nor to look, nor to answer."""
    found = [*bound(keyset), *unbound(keyset)]
    recording = {key for key, act in found if act.startswith("outcome(")}
    assert recording == set(keyset.outcomes)
    assert len(keyset.outcomes) == len(recording)
    others = {(key, act) for key, act in found if not act.startswith("outcome(")}
    assert not {(key, act) for key, act in others if key in recording}


def taken(screen: type[DOMNode], keyset: KeySet) -> dict[str, set[str]]:
    """Return what each key does on a screen, the keys of the program behind it."""
    keymap, acts = keyset.keymap(), {}
    for holder in (screen, TriageApp):
        for _, binding in holder._merge_bindings():
            for key in keymap.get(binding.id or "", binding.key).split(","):
                acts.setdefault(key.strip(), set()).add(binding.action)
    return acts


@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
def test_one_key_goes_back_everywhere_and_stop_is_bound_to_nothing_else(keyset: KeySet) -> None:
    bases = {base for screen in screens() for base in screen.__mro__[1:]}
    for screen in {*screens(), Palette} - bases:
        acts = taken(screen, keyset)
        assert acts.get("f9") == {"leave"}, screen
        for key in keyset.keys_of("stop"):
            assert acts[key] <= {"stop", "app.stop"}, (screen, key)
    for key in keyset.keys_of("stop"):
        ours = {(k, act) for k, act in bound(keyset) if k == key and act != "escape"}
        assert {act for _, act in ours} <= {"stop", "app.stop"}
        assert key not in {k for k, _ in unbound(keyset)}


def test_nothing_is_left_out_of_what_is_read() -> None:
    read = set(widgets())
    assert {*screens(), TriageApp} <= read


def test_what_starts_in_one_set_records_in_none() -> None:
    """A set may be changed in the middle of the work, the habit of the hand is slower."""
    starting = ("start", "look", "choose", "leave", "stop")
    started = {key for each in SETS.values() for act in starting for key in each.keys_of(act)}
    assert not started & {key for each in SETS.values() for key in each.outcomes}


@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
async def test_the_start_key_pressed_twice_records_nothing(
    keyset: KeySet, workshop: Workshop
) -> None:
    async with driven(workshop, case=CASE) as driver:
        driver.app._use_keys(keyset)
        for key in keyset.keys_of("start"):
            await driver.press(key, on=WalkScreen)
            await driver.press(key, key)
            assert workshop.load(CASE).attempts == ()
            while not isinstance(driver.screen, PlanScreen):
                is_writing = isinstance(driver.screen.focused, Input)
                await driver.press("f9" if is_writing else keyset.keys_of("leave")[0])


@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
async def test_an_outcome_is_not_taken_before_the_step_could_be_seen(
    keyset: KeySet, workshop: Workshop
) -> None:
    pulse = Pulse(a_look_s=0.0)
    async with driven(workshop, case=CASE, pulse=pulse) as driver:
        driver.app._use_keys(keyset)
        bells: list[str] = []
        driver.app.bell = lambda: bells.append("rung")
        await driver.press(keyset.keys_of("start")[0], on=WalkScreen)
        for soon_s in (0.0, OPENING_S - 0.01):
            pulse.seconds = soon_s
            await driver.press(keyset.outcomes[3])
            assert workshop.load(CASE).attempts == ()
            assert "the step had only just opened" in " ".join(driver.text.split())
            assert "CANNOT" not in driver.text
        assert bells == []
        pulse.seconds = OPENING_S
        await driver.press(keyset.outcomes[3], on=RecordedScreen)
        assert [each.outcome for each in workshop.load(CASE).attempts] == ["worse"]


async def test_nor_before_the_next_step_could_be_seen(workshop: Workshop) -> None:
    pulse = Pulse(a_look_s=0.0)
    async with driven(workshop, case=CASE, pulse=pulse) as driver:
        await driver.press("s")
        pulse.seconds = 10.0
        await driver.press("n", on=RecordedScreen)
        await driver.press("enter", "n", on=WalkScreen)
        assert len(workshop.load(CASE).attempts) == 1
        pulse.seconds = 20.0
        await driver.press("n")
        assert len(workshop.load(CASE).attempts) == 2
