"""Keys under one hand: complete, without clashes, reachable, and stop apart from going on.

The places of the keys are those of ISO/IEC 9995-2 (alphanumeric section of the keyboard, rows
and their offsets), for the three common orders of the letters.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from textual.binding import Binding
from textual.command import CommandPalette

import triage.tui
from tests.tui.conftest import Opened
from tests.tui.driving import Hand, driven
from tests.tui.test_outcome_keys import bound, unbound, widgets
from triage.service.settings import Settings, chosen
from triage.service.workshop import Workshop
from triage.tui.app import TriageApp
from triage.tui.keysets import (
    ACTS,
    LEFT,
    RIGHT,
    SETS,
    TOLD_BY_THE_SCREEN,
    WORDS,
    KeySet,
    bind,
    key_name,
)
from triage.tui.screens.observe import ObserveScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.questions import QuestionScreen
from triage.tui.screens.recording import RecordedScreen
from triage.tui.screens.walk import WalkScreen
from triage.tui.screens.windows import HelpScreen, StopScreen
from triage.tui.services import Services

CASE = "bumblebee-plate-3"
# Rows from the top, each with the offset of its first key in key widths.
TOP = (
    0.0,
    (
        "escape",
        "",
        "f1",
        "f2",
        "f3",
        "f4",
        "",
        "f5",
        "f6",
        "f7",
        "f8",
        "",
        "f9",
        "f10",
        "f11",
        "f12",
    ),
)
DIGITS = (0.0, ("^", *"1234567890", "minus", "equals", "backspace"))
ORDERS = {
    "qwerty": ("qwertyuiop", "asdfghjkl", "zxcvbnm"),
    "qwertz": ("qwertzuiop", "asdfghjkl", "yxcvbnm"),
    "azerty": ("azertyuiop", "qsdfghjklm", "wxcvbn"),
}

EITHER_HAND = {"space"}
# Between the index fingers, row by row from the top.
BORDERS = (5.5, 5.5, 6.0, 6.25, 6.75, 6.75)


def places(order: str) -> dict[str, tuple[float, float]]:
    """Return row and column of the middle of each key."""
    above, home, below = ORDERS[order]
    lowest = (
        (*below, "comma", "full_stop")
        if order != "azerty"
        else (*below, "comma", "semicolon", "full_stop")
    )
    rows = (TOP, DIGITS, (1.5, tuple(above)), (1.75, tuple(home)), (2.25, lowest))
    found = {
        key: (float(row), offset + at)
        for row, (offset, keys) in enumerate(rows)
        for at, key in enumerate(keys)
        if key
    }
    found["enter"] = (3.0, 12.75)
    found["tab"] = found["shift+tab"] = (2.0, 0.25)
    found["plus"] = (2.0, 12.5) if order == "qwertz" else (1.0, 12.0)
    # The block of arrows stands right of the lowest rows (ISO/IEC 9995-5).
    found["up"], found["down"] = (4.0, 15.5), (5.0, 15.5)
    return found


def apart(keys: dict[str, tuple[float, float]], one: str, other: str) -> float:
    return max(abs(keys[one][0] - keys[other][0]), abs(keys[one][1] - keys[other][1]))


GOING_ON = ("choose", "leave", "start")


@pytest.mark.parametrize("order", ORDERS)
@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
def test_stop_is_never_beside_going_on(keyset: KeySet, order: str) -> None:
    where = places(order)
    for stop in keyset.keys_of("stop"):
        for act in GOING_ON:
            for key in keyset.keys_of(act):
                assert stop != key
                if key != "space":  # the lowest row of all, away from every stop
                    assert apart(where, stop, key) >= 2, (stop, key)
        for key in (*keyset.outcomes, *keyset.answers.lower()):
            assert apart(where, stop, key) > 1 or stop == "escape", (stop, key)


@pytest.mark.parametrize("order", ORDERS)
def test_the_main_acts_lie_under_one_hand(order: str) -> None:
    """Touch typing parts the keyboard between 5 and 6, t and y, g and h, b and n."""
    where = places(order)
    main = (
        "cannot-tell",
        "why",
        "undo",
        "timer",
        "pass",
        "later",
        "start",
        "look",
        "choose",
        "leave",
        "down",
        "up",
        "clean",
    )
    for keyset, is_left in ((LEFT, True), (RIGHT, False)):
        keys = {*keyset.answers.lower(), *keyset.outcomes}
        keys |= {key for act in main for key in keyset.keys_of(act)[:1]}
        for key in keys - EITHER_HAND:
            row, column = where[key]
            assert (column < BORDERS[int(row)]) is is_left, (keyset.id, key, order)


def ours() -> list[tuple[type, Binding]]:
    """Return every binding that a class of the interface declares itself."""
    return [
        (widget, binding)
        for widget in widgets()
        if widget.__module__.startswith("triage.") and not issubclass(widget, CommandPalette)
        for binding in Binding.make_bindings(widget.__dict__.get("BINDINGS", ()))
    ]


@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
def test_a_key_has_one_meaning_in_the_whole_program(keyset: KeySet) -> None:
    """On all screens, whichever stands: one act, by one name, taken from the table."""
    keymap, meant = keyset.keymap(), {}
    for _, binding in ours():
        name = "" if binding.id in TOLD_BY_THE_SCREEN else binding.description
        for key in keymap[binding.id or ""].split(","):
            meant.setdefault(key, set()).add((binding.id, name))
    assert len(meant) > 50
    assert {key: acts for key, acts in meant.items() if len(acts) > 1} == {}
    # What is chosen by a sign of its own, on a drawing or in a window, is no key of an act.
    acts = {key for act in ACTS for key in keyset.keys_of(act)}
    assert not {key for key, _ in unbound(keyset)} & (acts | {*keyset.outcomes})
    # The framework brings keys to move along, and no letters.
    brought = {key for key, act in bound(keyset) if len(key) == 1} - {*meant}
    assert not brought


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


def test_every_question_can_be_answered_by_key(looking: Workshop) -> None:
    most = max(len(each.answers) for each in looking.knowledge.questions.values())
    for keyset in SETS.values():
        assert len(keyset.answers) >= most
        assert len(set(keyset.answers)) == len(keyset.answers)


async def worked(keyset: KeySet, demo: Path, opened_on: Opened) -> None:
    hand = Hand()
    workshop = opened_on(demo, hand)
    async with driven(workshop, case=CASE, clock=hand) as driver:
        driver.app._use_keys(keyset)
        await driver.press(keyset.keys_of("look")[0])
        assert isinstance(driver.screen, ObserveScreen)
        zones = driver.screen.query_one("#zones")
        down, up = keyset.keys_of("down")[0], keyset.keys_of("up")[0]
        place = [option.id for option in zones.options].index("abdomen-hairy")
        await driver.press(*[down] * place, down, up)
        assert zones.highlighted == place
        await driver.press(keyset.keys_of("choose")[0], on=QuestionScreen)
        asked = driver.screen.question
        assert f"{keyset.answers[0]}  {asked.answers[0][1][:10]}" in driver.text
        await driver.press(keyset.answers[1])
        assert workshop.load(CASE).findings[-1].signs == {asked.question: asked.answers[1][0]}
        await driver.press(keyset.keys_of("undo")[0])
        assert driver.screen.question.question == asked.question
        await driver.press(keyset.keys_of("cannot-tell")[0])
        assert workshop.load(CASE).findings[-1].signs == {}
        leave = keyset.keys_of("leave")[0]
        await driver.press(leave, leave, on=PlanScreen)
        await driver.press(keyset.keys_of("start")[0], on=WalkScreen)
        assert f" {keyset.outcomes[1]}  better" in driver.text
        await driver.press("question_mark")
        assert isinstance(driver.screen, HelpScreen)
        assert any(
            line.split()[0] == keyset.sign("timer")
            for line in driver.screen.plain.splitlines()
            if "Timer" in line
        )
        await driver.press("q")
        for stop in keyset.keys_of("stop"):
            await driver.press(stop, on=StopScreen)
            await driver.press(keyset.keys_of("leave")[0], on=WalkScreen)
        await driver.press(keyset.outcomes[2], on=RecordedScreen)
        assert workshop.load(CASE).attempts[-1].outcome == "no-change"
        await driver.press(keyset.keys_of("choose")[0], on=WalkScreen)


@pytest.mark.parametrize("keyset", [LEFT, RIGHT], ids=lambda each: each.id)
async def test_the_work_with_one_hand(keyset: KeySet, demo: Path, opened_on: Opened) -> None:
    await worked(keyset, demo, opened_on)


async def test_what_is_chosen_is_found_again(looking: Workshop, tmp_path: Path) -> None:
    place = tmp_path / "settings.yaml"
    place.write_text("mine: kept\n")
    app = TriageApp(Services(looking), settings=chosen(place))
    async with app.run_test(size=(80, 24)) as pilot:
        app.take_keys(LEFT)
        app._motion()
        app._sound()
        app.theme = "nord"
        await app.workers.wait_for_complete()
        await pilot.pause()
        await app.workers.wait_for_complete()
    again = chosen(place)
    assert again == Settings("left", "nord", "off", "off", {"mine": "kept"})
    second = TriageApp(Services(looking), settings=again)
    async with second.run_test(size=(80, 24)):
        assert second.keyset is LEFT
        assert second.theme == "nord"
        assert second.animation_level == "none"


async def test_a_broken_file_is_told_and_left(looking: Workshop, tmp_path: Path) -> None:
    place = tmp_path / "settings.yaml"
    place.write_text("keys: sideways\n")
    settings = chosen(place)
    assert "sideways" in settings.fault
    app = TriageApp(Services(looking), settings=settings)
    async with app.run_test(size=(80, 24)) as pilot:
        assert any("sideways" in note.message for note in app._notifications)
        app.take_keys(RIGHT)
        await app.workers.wait_for_complete()
        await pilot.pause()
        assert app.keyset is RIGHT
    assert place.read_text() == "keys: sideways\n"


def test_the_command_line_comes_before_the_settings(tmp_path: Path) -> None:
    place = tmp_path / "settings.yaml"
    place.write_text("keys: left\n")
    assert chosen(place, "right").keys == "right"
    assert chosen(place).keys == "left"


@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
async def test_the_last_line_keeps_its_order_and_its_names(
    keyset: KeySet, looking: Workshop
) -> None:
    """Other keys, the same acts in the same order; each key by one name; every stop is shown."""
    async with driven(looking, case=CASE) as driver:
        if keyset is not WORDS:
            driver.app._use_keys(keyset)
            await driver.pilot.pause()
        last = driver.text.splitlines()[-1]
        acts = ["Choose", "Cases", "Start", "Look", "In full", "Why", "STOP", "Keys"]
        at = [last.index(f" {act}") for act in acts]
        assert at == sorted(at), last
        for act in ("choose", "leave", "start", "look"):
            assert keyset.sign(act) in last.split(), (act, last)
        for key in keyset.keys_of("stop"):
            assert key_name(key) in last.split(), last


@pytest.mark.parametrize("keyset", SETS.values(), ids=lambda each: each.id)
async def test_at_80_columns_no_act_of_looking_is_left_out(
    keyset: KeySet, looking: Workshop
) -> None:
    async with driven(looking, case=CASE, size=(80, 24)) as driver:
        driver.app._use_keys(keyset)
        await driver.press(keyset.keys_of("look")[0], on=ObserveScreen)
        last = driver.text.splitlines()[-1]
        for act in ("Choose", "Plan", "All the rest", "Clean here", "STOP", "Keys"):
            assert act in last, last
