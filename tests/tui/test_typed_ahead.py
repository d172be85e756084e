"""Keys that come faster than the screens, and files that change while one works.

Nothing breaks down, nothing is recorded twice, nothing is lost.
"""

import asyncio
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from tests.tui.conftest import Opened
from tests.tui.driving import CASE, Driver, Hand, Pulse, driven, next_step
from triage.case.models import Case
from triage.errors import TriageError
from triage.service.workshop import Workshop
from triage.tui.app import TriageApp
from triage.tui.keysets import OUTCOME_KEYS
from triage.tui.screens.base import OPENING_S, ServiceScreen
from triage.tui.screens.walk import WalkScreen
from triage.tui.services import Services

# Every key that opens something over a step, or changes it.
BETWEEN = ("question_mark", *"emfpatq", "escape", "enter", *"wn", "ctrl+p")


class Held:
    """A workshop whose records wait until they are let go, and fail if a fault is given."""

    def __init__(
        self, driver: Driver, monkeypatch: pytest.MonkeyPatch, fault: TriageError | None = None
    ) -> None:
        self.go, self.begun, self.tried = threading.Event(), threading.Event(), 0
        self.driver = driver
        record = driver.workshop.record

        def waiting(*given: object, **more: object) -> Case:
            self.tried += 1
            self.begun.set()
            assert self.go.wait(60), "nobody let the record go"
            if fault is not None:
                raise fault
            return record(*given, **more)  # type: ignore[arg-type]

        monkeypatch.setattr(driver.workshop, "record", waiting)

    async def recorded_while(self, *keys: str, before: str = "") -> None:
        """Record *worse* at the next step; type keys while it is not written yet."""
        await self.driver.press("s", on="walk")
        self.driver.send("w")
        await self.driver.calm()
        assert await asyncio.to_thread(self.begun.wait, 60)
        if before:
            self.driver.screen.show_fault(before)
        await self.driver.type_ahead(*keys)
        self.go.set()
        await self.driver.settled()


@pytest.mark.parametrize("between", BETWEEN)
async def test_a_key_while_a_record_is_written(
    driver: Driver, monkeypatch: pytest.MonkeyPatch, between: str
) -> None:
    """*Worse*, another key before it is on disk, then leave twice: recorded once, told once."""
    await Held(driver, monkeypatch).recorded_while(between)
    assert driver.at("stop") or between != "escape"  # not covered by what was recorded
    for _ in range(2):  # what was opened comes first, the record is told when it is left
        if not driver.at("recorded"):
            driver.screen.dismiss(None)
            await driver.settled()
    assert driver.at("recorded"), driver.text
    driver.send("q")
    driver.send("q")
    await driver.settled()
    assert [each.outcome for each in driver.case.attempts] == ["worse"]
    assert not any(isinstance(each, WalkScreen) for each in driver.app.screen_stack)


async def test_a_record_that_fails_is_told_where_it_was_made(
    driver: Driver, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Leaving is not taken until it is known, and a fault of something else opens no second one."""
    held = Held(driver, monkeypatch, TriageError("the disk is full", mend="make room"))
    await held.recorded_while("w", "n", "q", "q", before="something else")
    assert driver.at("walk")
    assert "the disk is full" in driver.text
    assert held.tried == 1
    # Mended: the same key is taken again.
    await driver.press("w")
    assert held.tried == 2


async def test_leaving_twice_leaves_one_screen(driver: Driver) -> None:
    """The second key was meant for the window that the first one closed."""
    await driver.press("s", "f", on="detail")
    window = driver.screen
    window.action_leave()
    window.action_leave()
    await driver.settled()
    assert driver.at("walk")


async def test_a_screen_left_under_stop_waits_for_it(driver: Driver) -> None:
    await driver.press("s")
    below = driver.screen
    await driver.press("escape")
    below.action_leave()
    below.action_leave()
    await driver.settled()
    assert driver.at("stop")
    await driver.press("q")
    assert driver.at("plan")


@pytest.mark.parametrize("away", ["q", "ctrl+q"])
async def test_an_answer_whose_screen_is_left_at_once_is_kept(
    workshop: Workshop, away: str
) -> None:
    """It waits for its turn behind what is still worked out; leaving does not take it back."""
    go, begun = threading.Event(), threading.Event()
    async with driven(workshop, case=CASE) as driver:
        await driver.press("l", "H", "1")
        await driver.until(lambda: driver.screen.question is not None, "a question")
        finding, asked = driver.screen.finding, driver.screen.question

        def busy() -> None:
            begun.set()
            assert go.wait(60)

        driver.app.services.background.submit(busy)
        assert await asyncio.to_thread(begun.wait, 60)
        for key in ("1", away):
            driver.send(key)
            for _ in range(6):
                if not driver.app._exit:
                    await driver.calm()
        go.set()
    signs = workshop.load(CASE).finding(finding).signs
    assert signs[asked.question] == asked.answers[0][0]


async def test_a_reason_typed_behind_the_key_that_asks_for_it_is_whole(driver: Driver) -> None:
    """Each key belongs to the screen that the key before it left, not to the one it was typed on."""
    for key in ("k", *"no warm plate"):
        driver.send(key)
    await driver.settled()
    assert driver.screen.query_one("#reason").value == "no warm plate", driver.text


async def test_a_record_and_the_next_one_typed_in_one_go_are_one(workshop: Workshop) -> None:
    pulse = Pulse()
    async with driven(workshop, case=CASE, pulse=pulse) as driver:
        await driver.press("s", on="walk")
        pulse.a_look_s = 0.001  # from now on a key comes each millisecond
        pulse.seconds += 10
        for key in ("n", "n", "enter", "n", "enter", "n", "n"):
            driver.send(key)
        await driver.settled()
        assert len(driver.case.attempts) == 1


# -- the first minute --------------------------------------------------------------------------


@asynccontextmanager
async def rules_unread(
    workshop: Workshop, words: str, then: str, *, case: str | None = None, first: str = ""
) -> AsyncIterator[Driver]:
    """Yield the program at its first list; the rules are read behind what is done there."""
    go = threading.Event()

    def opening() -> Workshop:
        assert go.wait(60)
        return workshop

    app = TriageApp(Services(opening, workshop.cases, Hand(), Pulse()), case)
    async with app.run_test(size=(80, 24)) as pilot:
        driver = Driver(app, pilot)
        await driver.type_ahead(*first)
        while words not in driver.text:
            await driver.calm()
        yield driver
        go.set()
        await driver.on(then)


async def test_a_key_pressed_before_the_plan_stands_is_kept(workshop: Workshop) -> None:
    """The list stands while the rules are read; what is typed then acts on the plan behind it."""
    async with rules_unread(workshop, "Bumblebee worker", "walk", case=CASE) as driver:
        await driver.type_ahead("s")
        assert driver.at("cases")
        await driver.type_ahead("escape")  # stop never waits
        assert driver.at("stop")
        driver.send("f9")


async def test_what_is_typed_behind_a_case_opened_before_the_rules_are_read_is_kept(
    workshop: Workshop,
) -> None:
    """Enter opens the case when the rules are read; the key behind it starts its step."""
    async with rules_unread(workshop, "Bumblebee worker", "walk") as driver:
        await driver.type_ahead("slash", *"bumble", "enter", "s")
        assert driver.at("cases")


async def test_a_key_pressed_before_the_first_list_stands_is_kept(
    tmp_path: Path, opened_on: Opened
) -> None:
    fresh = opened_on(tmp_path / "fresh")
    async with rules_unread(fresh, "No case here yet", "choice", first="+") as driver:
        assert driver.at("cases")


# -- the last tick -----------------------------------------------------------------------------


async def test_a_tick_of_the_clock_when_no_screen_is_left_does_nothing(workshop: Workshop) -> None:
    """The clock of the program is stopped after its screens are gone; it may tick in between."""
    hand = Hand()
    step = next_step(workshop, CASE)
    workshop.start_timer(CASE, step.id, 60, "blot")
    unopened = TriageApp(Services(workshop, clock=hand))
    unopened.watch_timers.see(workshop.load(CASE))
    unopened.look_at_timers()
    async with driven(workshop, case=CASE, clock=hand) as driver:
        await driver.press("s")
        stack = driver.app._screen_stack
        held = list(stack)
        stack.clear()
        try:
            hand.on(61)
            driver.app.look_at_timers()
        finally:
            stack.extend(held)
        assert isinstance(driver.screen, ServiceScreen)
        assert not driver.app._notifications
        # The alarm was not spent on a screen that was not there.
        await driver.until(lambda: driver.app._notifications, "no alarm")
        assert any("Time is over" in note.message for note in driver.app._notifications)
    driver.app.look_at_timers()


async def test_an_alarm_of_another_specimen_stays_until_answered_and_one_key_goes_there(
    workshop: Workshop,
) -> None:
    """No outcome typed meanwhile is taken for either, and what was on its way does not answer."""
    hand, other = Hand(), "rose-chafer-plate-1"
    due = next_step(workshop, other)
    workshop.start_timer(other, due.id, 60, "blot")
    before = {each: workshop.load(each) for each in (CASE, other)}
    pulse = Pulse(a_look_s=0.0)
    async with driven(workshop, case=CASE, clock=hand, pulse=pulse) as driver:
        driver.app.watch_timers.see(before[other])
        await driver.press("s")
        hand.on(61)
        await driver.on("alarm")
        assert before[other].title in driver.words
        await driver.press(*OUTCOME_KEYS.values(), "enter")
        assert driver.at("alarm")
        assert {each: workshop.load(each) for each in before} == before
        pulse.seconds += OPENING_S
        await driver.press("enter", on="walk")
        assert driver.screen.case_id == other
        assert driver.screen.step.id == due.id


# -- a case file that somebody else edits while it is open ----------------------------------------


async def test_the_plan_follows_the_file(driver: Driver) -> None:
    path = driver.workshop.path_of(CASE)
    good = path.read_text(encoding="utf-8")
    renamed = good.replace("title: Bumblebee worker", "title: Renamed worker")
    path.write_text(renamed, encoding="utf-8")
    await driver.until(lambda: "Renamed worker" in driver.text, "title of the file")
    assert "changed outside" in driver.text

    # Broken or gone: said in words with the line; what is shown stays; the file is left alone.
    broken = "format: 1\nid: [\n"
    for spoil in (lambda: path.write_text(broken, encoding="utf-8"), path.unlink):
        spoil()
        await driver.until(lambda: "cannot be read any more" in driver.text, "fault")
        assert "blot oil with paper" in driver.text
        assert not path.exists() or path.read_text(encoding="utf-8") == broken
        path.write_text(good, encoding="utf-8")
        await driver.until(lambda: "cannot be read" not in driver.text, "mended")
        assert "Bumblebee worker" in driver.text


async def test_a_step_that_still_stands_is_gone_on_with_and_the_record_keeps_both(
    driver: Driver,
) -> None:
    await driver.press("s", on="walk")
    step = driver.screen.step
    driver.workshop.accept(CASE, "f2", "too little to matter")
    await driver.until(lambda: "changed outside" in driver.text, "note")
    assert driver.screen.step.id == step.id
    await driver.press("n")
    assert driver.case.attempts[0].step == step.id
    assert driver.case.finding("f2").accepted


async def test_a_step_that_stands_no_more_is_replaced_by_the_next(driver: Driver) -> None:
    await driver.press("s", on="walk")
    old = driver.screen.step
    driver.workshop.accept(CASE, old.finding, "leave it")
    await driver.until(lambda: driver.screen.step.id != old.id, "next step")
    assert driver.screen.step == next_step(driver.workshop, CASE)
