"""The sets of keys at work: each does the whole work, none records by a key pressed too soon."""

from pathlib import Path

import pytest
from textual.widgets import Input

from tests.tui.conftest import Opened
from tests.tui.driving import CASE, Driver, Hand, Pulse, driven
from tests.tui.test_key_table import EVERY_SET
from triage.service.settings import Settings, chosen
from triage.service.workshop import Workshop
from triage.tui.app import TriageApp
from triage.tui.keysets import LEFT, RIGHT, KeySet, key_name
from triage.tui.screens.base import OPENING_S
from triage.tui.services import Services


@pytest.mark.parametrize("keyset", [LEFT, RIGHT], ids=lambda each: each.id)
async def test_the_work_with_one_hand(keyset: KeySet, demo: Path, opened_on: Opened) -> None:
    hand = Hand()
    first = {act: keys.split(",")[0] for act, keys in keyset.keymap().items()}
    async with driven(opened_on(demo, hand), case=CASE, clock=hand) as driver:
        driver.app._use_keys(keyset)
        await driver.press(first["look"], on="observe")
        zones = driver.screen.query_one("#zones")
        place = [option.id for option in zones.options].index("abdomen-hairy")
        await driver.press(*[first["down"]] * place, first["down"], first["up"])
        assert zones.highlighted == place
        await driver.press(first["choose"], on="question")
        asked = driver.screen.question
        assert f"{keyset.answers[0]}  {asked.answers[0][1][:10]}" in driver.text
        await driver.press(keyset.answers[1])
        assert driver.case.findings[-1].signs == {asked.question: asked.answers[1][0]}
        await driver.press(first["undo"])
        assert driver.screen.question.question == asked.question
        await driver.press(first["cannot-tell"])
        assert driver.case.findings[-1].signs == {}
        await driver.press(first["leave"], first["leave"], on="plan")
        await driver.press(first["start"], on="walk")
        assert f" {keyset.outcomes[1]}  better" in driver.text
        await driver.press("question_mark", on="help")
        told = [line for line in driver.screen.plain.splitlines() if "Timer" in line]
        assert keyset.sign("timer") in [line.split()[0] for line in told]
        await driver.press("q")
        for stop in keyset.keys_of("stop"):
            await driver.press(stop, on="stop")
            await driver.press(first["leave"], on="walk")
        await driver.press(keyset.outcomes[2], on="recorded")
        assert driver.case.attempts[-1].outcome == "no-change"
        await driver.press(first["choose"], on="walk")


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
    # The command line comes before the settings.
    assert chosen(place, "right").keys == "right"
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


@EVERY_SET
async def test_the_last_line_keeps_its_order_and_its_names(keyset: KeySet, looker: Driver) -> None:
    """Other keys, the same acts in the same order; each key by one name; every stop is shown.

    At 80 columns no act of looking is left out.
    """
    looker.app._use_keys(keyset)
    await looker.pilot.pause()
    last = looker.last_line
    acts = ["Choose", "Cases", "Start", "Look", "In full", "Why", "STOP", "Keys"]
    at = [last.index(f" {act}") for act in acts]
    assert at == sorted(at), last
    for act in ("choose", "leave", "start", "look"):
        assert keyset.sign(act) in last.split(), (act, last)
    for key in keyset.keys_of("stop"):
        assert key_name(key) in last.split(), last
    await looker.press(keyset.keys_of("look")[0], on="observe")
    for act in ("Choose", "Plan", "All the rest", "Clean here", "STOP", "Keys"):
        assert act in looker.last_line


# -- what records ---------------------------------------------------------------------------------


@EVERY_SET
async def test_the_start_key_pressed_twice_records_nothing(keyset: KeySet, driver: Driver) -> None:
    driver.app._use_keys(keyset)
    for key in keyset.keys_of("start"):
        await driver.press(key, on="walk")
        await driver.press(key, key)
        assert driver.case.attempts == ()
        while not driver.at("plan"):
            is_writing = isinstance(driver.screen.focused, Input)
            await driver.press("f9" if is_writing else keyset.keys_of("leave")[0])


@EVERY_SET
async def test_an_outcome_is_not_taken_before_the_step_could_be_seen(
    keyset: KeySet, workshop: Workshop
) -> None:
    """Neither of the first step nor of the one behind it."""
    pulse, (_, _, same, worse, *_) = Pulse(a_look_s=0.0), keyset.outcomes
    async with driven(workshop, case=CASE, pulse=pulse) as driver:
        driver.app._use_keys(keyset)
        bells: list[str] = []
        driver.app.bell = lambda: bells.append("rung")
        await driver.press(keyset.keys_of("start")[0], on="walk")
        for soon_s in (0.0, OPENING_S - 0.01):
            pulse.seconds = soon_s
            await driver.press(worse)
            assert driver.case.attempts == ()
            assert "the step had only just opened" in driver.words
            assert "CANNOT" not in driver.text
        assert bells == []
        pulse.seconds = OPENING_S
        await driver.press(same, on="recorded")
        assert [each.outcome for each in driver.case.attempts] == ["no-change"]
        await driver.press(keyset.keys_of("choose")[0], same, on="walk")
        assert len(driver.case.attempts) == 1
        pulse.seconds = 20.0
        await driver.press(worse, on="recorded")
        assert [each.outcome for each in driver.case.attempts] == ["no-change", "worse"]
