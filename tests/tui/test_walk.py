"""One step at a time: what must be ready, what must be seen, the time, the outcome."""

from __future__ import annotations

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from tests.tui.conftest import Opened
from tests.tui.driving import Driver, Hand, driven, next_step
from triage.case.models import Case
from triage.errors import TriageError
from triage.plan.model import Plan
from triage.service.workshop import Workshop
from triage.tui.app import TriageApp
from triage.tui.screens.form import FormScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.recording import RecordedScreen
from triage.tui.screens.walk import WalkScreen
from triage.tui.screens.windows import AlarmScreen, ChoiceScreen, StopScreen

At = tuple[Workshop, str]
READY_TO_SOFTEN = {
    "aim": "another-pose",
    "worth-it": "yes",
    "whole": "whole",
    "age": "since-1990",
    "lacquered": "no",
    "old-poison-signs": "no",
    "live-pest-signs": "no",
    "mouldy-smell": "no",
    "box-held": "none",
    "photographed-before": "yes",
    "hydration": "dry",
}


@pytest.fixture
def hand() -> Hand:
    return Hand()


@pytest.fixture
def dry(tmp_path: Path, hand: Hand, monkeypatch: pytest.MonkeyPatch, opened_on: Opened) -> At:
    """A dry bee whose next step is hazardous, a hold point, and has a dwell."""
    workshop = opened_on(tmp_path, hand)
    case = workshop.new("dry bee", "bees-wasps")
    workshop.answer_all(case.id, None, READY_TO_SOFTEN)
    workshop.declare_clean(case.id, "antenna")
    made = workshop.plan

    def with_hold_points(of: Case) -> Plan:
        # Which steps are hold points is for the planner to say; here every one is.
        plan = made(of)
        steps = (replace(step, hold=step.hold or "What did the spot show?") for step in plan.steps)
        return replace(plan, steps=tuple(steps))

    monkeypatch.setattr(workshop, "plan", with_hold_points)
    step = next_step(workshop, case.id)
    assert step.hazardous
    assert step.dwell_s
    return workshop, case.id


async def made_ready(driver: Driver) -> None:
    lines = driver.screen.query_one("#checklist").lines
    await driver.press(*(str(number) for number in range(1, len(lines) + 1)), "enter")


async def opened(driver: Driver) -> None:
    await made_ready(driver)
    await driver.write("test spot unchanged", "enter")
    assert driver.screen.panel == "work"


@asynccontextmanager
async def walking(
    workshop: Workshop, case: str, *, is_open: bool = False, size: tuple[int, int] = (80, 24)
) -> AsyncIterator[Driver]:
    """Stand at the next step of a case; past its checklist and hold point if it is to be open."""
    async with driven(workshop, case=case, size=size) as driver:
        await driver.press("s", on=WalkScreen)
        if is_open:
            await opened(driver)
        yield driver


async def test_a_hazardous_step_opens_only_after_every_tick(dry: At) -> None:
    workshop, case = dry
    async with walking(*dry) as driver:
        assert driver.screen.panel == "ready"
        await driver.press("enter", "enter", "enter")
        assert driver.screen.panel == "ready"
        lines = driver.screen.query_one("#checklist").lines
        await driver.press(*(str(number) for number in range(1, len(lines))), "enter")
        assert driver.screen.panel == "ready"
        assert "not every line is ticked" in driver.screen.query_one("#fault").text
        # No outcome but "not done" can be recorded before the step is open.
        await driver.press("c", "b", "n", "w", "d")
        assert isinstance(driver.screen, WalkScreen)
        assert workshop.load(case).attempts == ()


async def test_a_hold_point_is_not_passed_by_repeating_a_key(dry: At) -> None:
    workshop, case = dry
    async with walking(*dry) as driver:
        await made_ready(driver)
        assert driver.screen.panel == "hold"
        await driver.press(*["enter"] * 20)
        assert driver.screen.panel == "hold"
        await driver.press(*["1"] * 5, "enter")
        assert driver.screen.panel == "hold"
        await driver.press(*["backspace"] * 5)
        await driver.write("no colour change", "enter")
        assert driver.screen.panel == "work"
        await driver.record("n")
        assert workshop.load(case).attempts[0].observed == "no colour change"


@pytest.mark.parametrize(("away_s", "panel"), [(29, "work"), (31, "ready")])
async def test_after_an_interruption_over_30_s_it_is_asked_again(
    dry: At, hand: Hand, away_s: int, panel: str
) -> None:
    async with walking(*dry, is_open=True) as driver:
        await driver.press("escape", on=StopScreen)
        hand.on(away_s)
        await driver.press("q", on=WalkScreen)
        assert driver.screen.panel == panel
        said = driver.screen.query_one("#fault").text
        # What was confirmed last is named, and asked for again.
        assert ("confirmed before: test spot unchanged" in said) == (panel == "ready")
        assert ("confirm it again" in said) == (panel == "ready")


async def test_the_dwell_timer_survives_the_program(dry: At, hand: Hand) -> None:
    workshop, case = dry
    async with walking(*dry, is_open=True) as driver:
        await driver.press("t")
        dwell_s = driver.screen.step.dwell_s
        await driver.until(lambda: workshop.load(case).timers, "no timer in the case")
    hand.on(dwell_s - 600)
    async with driven(workshop, case=case) as driver:
        await driver.until(lambda: "10:00 left" in driver.text, "time left in the title line")
        await driver.press("s", on=WalkScreen)
        assert driver.screen.query_one("#countdown").seconds_left == 600
        # Asked again after the interruption; the timer stands beside it.
        assert driver.screen.panel == "ready"
        assert "Running, left" in driver.text


async def test_the_timer_warns_rings_and_sets_the_title_once_each(
    dry: At, hand: Hand, monkeypatch: pytest.MonkeyPatch
) -> None:
    bells: list[str] = []
    monkeypatch.setattr(TriageApp, "bell", lambda _: bells.append("bell"))
    workshop, case = dry
    step = workshop.plan(workshop.load(case)).steps[0]
    workshop.start_timer(case, step.id, 60, "soak")
    async with driven(workshop, case=case) as driver:
        await driver.until(lambda: "1:00 left" in driver.app.title, "title")
        assert bells == []
        hand.on(41)
        await driver.until(lambda: bells, "no warning")
        await driver.until(lambda: "19" in driver.app.title, "title")
        hand.on(20)
        await driver.until(lambda: len(bells) == 2, "no ring")
        await driver.until(lambda: "OVER" in driver.app.title, "title")
        hand.on(100)
        driver.app.look_at_timers()
        assert len(bells) == 2
        await driver.until(lambda: "Time is over" in driver.text, "no window")


async def test_an_alarm_covers_neither_stop_points_nor_outcomes_nor_keys(
    dry: At, hand: Hand
) -> None:
    workshop, case = dry
    step = workshop.plan(workshop.load(case)).steps[0]
    workshop.start_timer(case, step.id, 60, "soak")
    async with driven(workshop, case=case) as driver:
        driver.app._disable_notifications = False  # the pilot of the framework hides them
        await driver.press("s", on=WalkScreen)
        await opened(driver)
        hand.on(61)
        await driver.until(lambda: driver.screen.query("Toast"), "no alarm is shown")
        await driver.until(lambda: driver.screen.query("Toast").first().region, "it has no place")
        for toast in driver.screen.query("Toast"):
            for name in ("#stops", "#countdown", "#outcomes", "KeysLine"):
                place = driver.screen.query_one(name).region
                assert not toast.region.overlaps(place), (name, toast.region, place)
        assert "Time is over" in driver.text


async def test_a_running_timer_is_stopped_only_when_told_twice(dry: At) -> None:
    workshop, case = dry
    async with walking(*dry, is_open=True) as driver:
        await driver.press("t", "t", "t")
        assert len(workshop.load(case).timers) == 1
        await driver.press("2")
        assert workshop.load(case).timers == ()


async def test_amount_is_prefilled_and_a_photo_that_is_not_there_is_refused_in_words(
    workshop: Workshop,
) -> None:
    case = "rose-chafer-plate-1"
    async with walking(workshop, case) as driver:
        amount = driver.screen.step.amount_ml
        await driver.press("m", on=FormScreen)
        field = driver.screen.query_one("#amount_ml")
        assert field.value == ("" if amount is None else f"{amount:g}")
        await driver.write("looks duller")
        await driver.press("down")
        await driver.write("nowhere.jpg", "enter")
        # Said in place: the line is still open, the note is still there.
        assert isinstance(driver.screen, FormScreen)
        fault = driver.screen.query_one("#fault").text
        assert "nowhere.jpg" in fault
        assert "check the path" in fault
        await driver.pilot.press(*["backspace"] * 11)
        await driver.press("enter")
        await driver.record("n")
        assert workshop.load(case).attempts[0].note == "looks duller"


@pytest.mark.parametrize("typed", ["two", "-1", "nan"])
async def test_an_amount_that_is_no_amount_is_refused_in_place(
    workshop: Workshop, typed: str
) -> None:
    async with walking(workshop, "rose-chafer-plate-1") as driver:
        await driver.press("m", "up", "up")
        await driver.press(*["backspace"] * 6)
        await driver.write(typed, "enter")
        assert isinstance(driver.screen, FormScreen)
        assert driver.screen.query_one("#fault").text


async def test_no_outcome_key_works_on_the_record_shown(workshop: Workshop) -> None:
    """A key that bounces must not record the next step too."""
    case = "rose-chafer-plate-1"
    async with walking(workshop, case) as driver:
        await driver.record("n")
        await driver.press("n", "n", "n", on=RecordedScreen)
        assert len(workshop.load(case).attempts) == 1


async def test_an_end_that_comes_too_early_is_asked_about_once(dry: At, hand: Hand) -> None:
    """A chamber of hours that is ended after some seconds: asked, and the true time is kept."""
    workshop, case = dry
    async with walking(*dry, is_open=True) as driver:
        hand.on(20)
        await driver.press("c")
        assert isinstance(driver.screen, ChoiceScreen)
        await driver.press("1")
        assert workshop.load(case).attempts == ()
        await driver.press("c", "2", on=RecordedScreen)
        assert workshop.load(case).attempts[0].minutes == pytest.approx(20 / 60, abs=0.05)


async def test_harm_is_recorded_at_once_however_early(dry: At) -> None:
    workshop, case = dry
    async with walking(*dry, is_open=True) as driver:
        await driver.press("d", on=RecordedScreen)
        assert workshop.load(case).held_by()


async def test_the_stop_key_shows_what_to_do_at_each_stop_point(workshop: Workshop) -> None:
    async with walking(workshop, "rose-chafer-plate-1", size=(140, 60)) as driver:
        step = driver.screen.step
        assert "STOP (Esc) if you see" in driver.text
        await driver.press("escape", on=StopScreen)
        flat = " ".join(driver.text.replace("┃", " ").split())
        for point in step.stop_points:
            assert point.then in flat
        await driver.press("enter", "enter", "escape")
        assert isinstance(driver.screen, StopScreen)
        await driver.press("q", on=WalkScreen)
        await driver.press("q", on=PlanScreen)


async def test_what_is_asked_late_does_not_cover_stop(workshop: Workshop) -> None:
    """What a record leads to comes when it is written; stop may have been pressed meanwhile."""
    answers: list[str] = []
    async with walking(workshop, "rose-chafer-plate-1") as driver:
        walk = driver.screen
        await driver.press("escape", on=StopScreen)
        walk.ask(ChoiceScreen("Is it dry?", (("yes", "yes"), ("no", "no"))), answers.append)
        await driver.settled()
        assert isinstance(driver.screen, StopScreen)
        await driver.press("q", on=ChoiceScreen)
        assert "Is it dry?" in driver.text
        await driver.press("2", on=WalkScreen)
        assert driver.screen is walk
    assert answers == ["no"]


async def test_after_the_machine_slept_it_is_asked_again(dry: At, hand: Hand) -> None:
    async with walking(*dry, is_open=True) as driver:
        hand.on(31)
        await driver.until(lambda: driver.screen.panel == "ready", "asked again")
        assert "test spot unchanged" in driver.screen.query_one("#fault").text


async def test_a_look_can_be_put_off_by_one_key_a_limit_cannot(looks: At, dry: At) -> None:
    """WCAG 2.2.1: a time can be made longer by a simple key, except where the limit is essential."""
    workshop, case = looks
    async with walking(*looks) as driver:
        assert not driver.screen.step.hazardous
        await driver.press("t")
        first = workshop.load(case).timers[0]
        for _ in range(10):
            await driver.press("g")
        later = workshop.load(case).timers[0]
        set_s = (first.ends - first.started).total_seconds()
        assert (later.ends - first.ends).total_seconds() == pytest.approx(10 * 0.25 * set_s)
        assert later.started == first.started
    workshop, case = dry
    async with walking(*dry, is_open=True) as driver:
        await driver.press("t", "g", "g")
        timer = workshop.load(case).timers[0]
        assert (timer.ends - timer.started).total_seconds() == driver.screen.step.dwell_s
        assert "Look later" not in driver.text
        with pytest.raises(TriageError, match="limit of exposure"):
            workshop.extend_timer(case, driver.screen.step.id)


@pytest.fixture
def looks(workshop: Workshop, hand: Hand) -> At:
    """A case whose next step has a time that only says when to look."""
    workshop.clock = hand
    return workshop, "bumblebee-plate-3"


async def test_the_time_of_a_look_ends_at_the_longest_the_step_allows(
    looks: At, hand: Hand
) -> None:
    workshop, case = looks
    step = next_step(workshop, case)
    assert step.dwell_s is not None
    assert step.dwell_most_s is not None
    workshop.start_timer(case, step.id, step.dwell_s, "look")
    hand.on(step.dwell_most_s)
    with pytest.raises(TriageError, match="at most"):
        workshop.extend_timer(case, step.id)


async def test_a_mended_fault_goes_away(dry: At) -> None:
    async with walking(*dry) as driver:
        await driver.press("enter")
        assert "not every line is ticked" in driver.text
        await driver.press("1")
        assert "not every line is ticked" not in driver.text


async def test_the_alarm_says_what_the_step_needs(dry: At, looks: At, hand: Hand) -> None:
    said: list[str] = []
    needs: set[bool] = set()
    for workshop, case in (dry, looks):
        async with driven(workshop, case=case) as driver:
            driver.app.notify = lambda words, **_: said.append(words)
            step = next_step(workshop, case)
            workshop.start_timer(case, step.id, 60.0, "the dwell")
            await driver.press("s", on=WalkScreen)
            hand.on(61)
            await driver.until(lambda: bool(said), "no alarm")
            needs.add(bool(step.agent or step.rinse))
            assert ("rinse" in said.pop()) == bool(step.agent or step.rinse)
    assert needs == {True, False}


async def test_an_alarm_names_specimen_step_and_place_also_of_a_case_that_is_not_open(
    workshop: Workshop, hand: Hand
) -> None:
    """Two bees on the bench: what is over must be plain without going there."""
    workshop.clock = hand
    working, other = "rose-chafer-plate-1", "bumblebee-plate-3"
    step = next_step(workshop, other)
    assert step.zone_name
    # The command begins timers too, and calls them by the step alone.
    workshop.start_timer(other, step.id, 60, step.name)
    async with driven(workshop) as driver:
        rows = [option.id for option in driver.screen.query_one("#rows").options]
        await driver.press(
            "home", *["down"] * rows.index(f"{working}.yaml"), "enter", on=PlanScreen
        )
        assert driver.screen.case_id == working
        hand.on(41)
        await driver.until(lambda: driver.app._notifications, "no warning")
        warned = next(iter(driver.app._notifications)).message
        hand.on(20)
        await driver.on(AlarmScreen)
        over = str(driver.screen.query_one(".window-title").content)
        for said, word in ((warned, "19"), (over, "Time is over")):
            assert word in said
            for told in (workshop.load(other).title, step.name, step.zone_name):
                assert said.count(told) == 1, (told, said)
            assert step.id not in said
