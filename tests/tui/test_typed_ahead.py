"""Keys that come faster than the screens: nothing breaks down, nothing is recorded twice."""

from __future__ import annotations

import asyncio
import threading
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest

from tests.tui.conftest import Opened
from tests.tui.driving import Driver, Hand, Pulse, driven, next_step
from triage.case.models import Case
from triage.errors import TriageError
from triage.service.workshop import Workshop
from triage.tui.app import TriageApp
from triage.tui.keysets import OUTCOME_KEYS
from triage.tui.screens.base import OPENING_S, ServiceScreen
from triage.tui.screens.cases import CasesScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.recording import RecordedScreen
from triage.tui.screens.walk import WalkScreen
from triage.tui.screens.windows import AlarmScreen, ChoiceScreen, DetailScreen, StopScreen
from triage.tui.services import Services

CASE = "bumblebee-plate-3"
# Every key that opens something over a step, or changes it.
BETWEEN = (
    "question_mark",
    "e",
    "m",
    "f",
    "p",
    "a",
    "t",
    "q",
    "escape",
    "enter",
    "w",
    "n",
    "ctrl+p",
)


class Held:
    """A workshop whose records wait until they are let go, and fail if a fault is given."""

    def __init__(
        self,
        workshop: Workshop,
        monkeypatch: pytest.MonkeyPatch,
        fault: TriageError | None = None,
    ) -> None:
        self.go, self.begun, self.tried = threading.Event(), threading.Event(), 0
        record = workshop.record

        def waiting(*given: object, **more: object) -> Case:
            self.tried += 1
            self.begun.set()
            assert self.go.wait(60), "nobody let the record go"
            if fault is not None:
                raise fault
            return record(*given, **more)  # type: ignore[arg-type]

        monkeypatch.setattr(workshop, "record", waiting)

    async def begin(self, driver: Driver) -> None:
        """Record *worse* at the next step; it is not written yet."""
        await driver.press("s", on=WalkScreen)
        driver.send("w")
        await driver.calm()
        assert await asyncio.to_thread(self.begun.wait, 60)

    async def end(self, driver: Driver) -> None:
        self.go.set()
        await driver.settled()


@pytest.mark.parametrize("between", BETWEEN)
async def test_a_key_while_a_record_is_written(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch, between: str
) -> None:
    """*Worse*, another key before it is on disk, then leave twice: recorded once, told once."""
    held = Held(workshop, monkeypatch)
    async with driven(workshop, case=CASE) as driver:
        await held.begin(driver)
        await driver.type_ahead(between)
        await held.end(driver)
        for _ in range(2):  # what was opened comes first, the record is told when it is left
            if not isinstance(driver.screen, RecordedScreen):
                driver.screen.dismiss(None)
                await driver.settled()
        assert isinstance(driver.screen, RecordedScreen), driver.text
        driver.send("q")
        driver.send("q")
        await driver.settled()
        assert [each.outcome for each in workshop.load(CASE).attempts] == ["worse"]
        assert not any(isinstance(each, WalkScreen) for each in driver.app.screen_stack)


async def test_stop_is_not_covered_by_what_was_recorded(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    held = Held(workshop, monkeypatch)
    async with driven(workshop, case=CASE) as driver:
        await held.begin(driver)
        await driver.type_ahead("escape")
        await held.end(driver)
        assert isinstance(driver.screen, StopScreen)
        await driver.press("q")
        assert isinstance(driver.screen, RecordedScreen)


async def test_a_record_that_fails_is_told_where_it_was_made(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Leaving is not taken until it is known, and a fault of something else opens no second one."""
    held = Held(workshop, monkeypatch, TriageError("the disk is full", mend="make room"))
    async with driven(workshop, case=CASE) as driver:
        await held.begin(driver)
        driver.screen.show_fault("something else")
        await driver.type_ahead("w", "n", "q", "q")
        await held.end(driver)
        assert isinstance(driver.screen, WalkScreen)
        assert "the disk is full" in driver.text
        assert held.tried == 1
        # Mended: the same key is taken again.
        await driver.press("w")
        assert held.tried == 2


async def test_leaving_twice_leaves_one_screen(workshop: Workshop) -> None:
    """The second key was meant for the window that the first one closed."""
    async with driven(workshop, case=CASE) as driver:
        await driver.press("s", "f")
        window = driver.screen
        assert isinstance(window, DetailScreen)
        window.action_leave()
        window.action_leave()
        await driver.settled()
        assert isinstance(driver.screen, WalkScreen)


async def test_a_screen_left_under_stop_waits_for_it(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE) as driver:
        await driver.press("s")
        below = driver.screen
        await driver.press("escape")
        below.action_leave()
        below.action_leave()
        await driver.settled()
        assert isinstance(driver.screen, StopScreen)
        await driver.press("q")
        assert isinstance(driver.screen, PlanScreen)


@pytest.mark.parametrize("away", ["q", "ctrl+q"])
async def test_an_answer_whose_screen_is_left_at_once_is_kept(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch, away: str
) -> None:
    """It waits for its turn behind what is still worked out; leaving does not take it back."""
    go, begun = threading.Event(), threading.Event()
    async with driven(workshop, case=CASE) as driver:
        await driver.press("l", "H", "1")
        await driver.until(lambda: driver.screen.question is not None, "a question")
        finding, question, answers = (
            driver.screen.finding,
            driver.screen.question.question,
            driver.screen.question.answers,
        )

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
    assert workshop.load(CASE).finding(finding).signs[question] == answers[0][0]


async def test_a_reason_typed_behind_the_key_that_asks_for_it_is_whole(workshop: Workshop) -> None:
    """Each key belongs to the screen that the key before it left, not to the one it was typed on."""
    async with driven(workshop, case=CASE) as driver:
        for key in ("k", *"no warm plate"):
            driver.send("space" if key == " " else key)
        await driver.settled()
        assert driver.screen.query_one("#reason").value == "no warm plate", driver.text


async def test_a_record_and_the_next_one_typed_in_one_go_are_one(workshop: Workshop) -> None:
    pulse = Pulse()
    async with driven(workshop, case=CASE, pulse=pulse) as driver:
        await driver.press("s", on=WalkScreen)
        pulse.a_look_s = 0.001  # from now on a key comes each millisecond
        pulse.seconds += 10
        for key in ("n", "n", "enter", "n", "enter", "n", "n"):
            driver.send(key)
        await driver.settled()
        assert len(workshop.load(CASE).attempts) == 1


# -- the first minute --------------------------------------------------------------------------


@asynccontextmanager
async def rules_unread(
    workshop: Workshop, case: str | None = None
) -> AsyncIterator[tuple[Driver, threading.Event]]:
    """Yield the program before its rules are read, and what lets them be."""
    go = threading.Event()

    def opening() -> Workshop:
        assert go.wait(60)
        return workshop

    app = TriageApp(Services(opening, workshop.cases, Hand(), Pulse()), case)
    async with app.run_test(size=(80, 24)) as pilot:
        yield Driver(app, pilot), go


async def calm_until(driver: Driver, words: str) -> None:
    while words not in driver.text:
        await driver.calm()


async def test_a_key_pressed_before_the_plan_stands_is_kept(workshop: Workshop) -> None:
    """The list stands while the rules are read; what is typed then acts on the plan behind it."""
    async with rules_unread(workshop, CASE) as (driver, go):
        await calm_until(driver, "Bumblebee worker")
        await driver.type_ahead("s")
        assert isinstance(driver.screen, CasesScreen)
        await driver.type_ahead("escape")  # stop never waits
        assert isinstance(driver.screen, StopScreen)
        driver.send("f9")
        go.set()
        await driver.on(WalkScreen)


async def test_what_is_typed_behind_a_case_opened_before_the_rules_are_read_is_kept(
    workshop: Workshop,
) -> None:
    """Enter opens the case when the rules are read; the key behind it starts its step."""
    async with rules_unread(workshop) as (driver, go):
        await calm_until(driver, "Bumblebee worker")
        await driver.type_ahead("slash", *"bumble", "enter", "s")
        assert isinstance(driver.screen, CasesScreen)
        go.set()
        await driver.on(WalkScreen)


async def test_a_key_pressed_before_the_first_list_stands_is_kept(
    tmp_path: Path, opened_on: Opened
) -> None:
    async with rules_unread(opened_on(tmp_path / "fresh")) as (driver, go):
        driver.send("+")
        await calm_until(driver, "No case here yet")
        go.set()
        await driver.on(ChoiceScreen)


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
        await driver.on(AlarmScreen)
        assert before[other].title in " ".join(driver.text.split())
        await driver.press(*OUTCOME_KEYS.values(), "enter")
        assert isinstance(driver.screen, AlarmScreen)
        assert {each: workshop.load(each) for each in before} == before
        pulse.seconds += OPENING_S
        await driver.press("enter", on=WalkScreen)
        assert driver.screen.case_id == other
        assert driver.screen.step.id == due.id
