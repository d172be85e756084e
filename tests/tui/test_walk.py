"""One step at a time: what must be ready, what must be seen, the time, the outcome."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from pathlib import Path

import pytest

from tests.support.intake import OPEN
from tests.tui.conftest import Opened
from tests.tui.driving import CASE, Driver, Hand, driven, next_step
from triage.case.models import Case
from triage.errors import TriageError
from triage.plan.model import Plan
from triage.service.workshop import Workshop
from triage.tui.app import TriageApp
from triage.tui.screens.windows import ChoiceScreen

At = tuple[Workshop, str]
CHAFER = "rose-chafer-plate-1"
READY_TO_SOFTEN = {**OPEN, "box-held": "none", "hydration": "dry"}
SEEN = "test spot unchanged"


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


@pytest.fixture
def looks(workshop: Workshop, hand: Hand) -> At:
    """A case whose next step has a time that only says when to look."""
    workshop.clock = hand
    return workshop, CASE


@asynccontextmanager
async def walking(
    workshop: Workshop, case: str, *, is_open: bool = False, size: tuple[int, int] = (80, 24)
) -> AsyncIterator[Driver]:
    """Stand at the next step of a case; past its checklist and hold point if it is to be open."""
    async with driven(workshop, case=case, size=size) as driver:
        await driver.press("s", on="walk")
        if is_open:
            await driver.make_ready(SEEN)
        yield driver


@pytest.fixture
async def at_dry(dry: At) -> AsyncIterator[Driver]:
    async with walking(*dry) as driver:
        yield driver


@pytest.fixture
async def open_dry(dry: At) -> AsyncIterator[Driver]:
    async with walking(*dry, is_open=True) as driver:
        yield driver


@pytest.fixture
async def at_chafer(workshop: Workshop) -> AsyncIterator[Driver]:
    async with walking(workshop, CHAFER) as driver:
        yield driver


async def test_a_hazardous_step_opens_only_after_every_tick(at_dry: Driver) -> None:
    assert at_dry.screen.panel == "ready"
    await at_dry.press("enter", "enter", "enter")
    assert at_dry.screen.panel == "ready"
    lines = at_dry.screen.query_one("#checklist").lines
    await at_dry.press(*map(str, range(1, len(lines))), "enter")
    assert at_dry.screen.panel == "ready"
    assert "not every line is ticked" in at_dry.fault
    # No outcome but "not done" can be recorded before the step is open.
    await at_dry.press("c", "b", "n", "w", "d")
    assert at_dry.at("walk")
    assert at_dry.case.attempts == ()


async def test_a_hold_point_is_not_passed_by_repeating_a_key(at_dry: Driver) -> None:
    # A mended fault goes away.
    await at_dry.press("enter")
    assert "not every line is ticked" in at_dry.text
    await at_dry.press("1")
    assert "not every line is ticked" not in at_dry.text
    await at_dry.press("1")
    await at_dry.make_ready()
    assert at_dry.screen.panel == "hold"
    await at_dry.press(*["enter"] * 20)
    assert at_dry.screen.panel == "hold"
    await at_dry.press(*["1"] * 5, "enter")
    assert at_dry.screen.panel == "hold"
    await at_dry.press(*["backspace"] * 5)
    await at_dry.make_ready("no colour change")
    await at_dry.record("n")
    assert at_dry.case.attempts[0].observed == "no colour change"


@pytest.mark.parametrize(("away_s", "panel"), [(29, "work"), (31, "ready")])
async def test_after_an_interruption_over_30_s_it_is_asked_again(
    open_dry: Driver, hand: Hand, away_s: int, panel: str
) -> None:
    await open_dry.press("escape", on="stop")
    hand.on(away_s)
    await open_dry.press("q", on="walk")
    assert open_dry.screen.panel == panel
    # What was confirmed last is named, and asked for again.
    assert (f"confirmed before: {SEEN}" in open_dry.fault) == (panel == "ready")
    assert ("confirm it again" in open_dry.fault) == (panel == "ready")


async def test_after_the_machine_slept_it_is_asked_again(open_dry: Driver, hand: Hand) -> None:
    hand.on(31)
    await open_dry.until(lambda: open_dry.screen.panel == "ready", "asked again")
    assert SEEN in open_dry.fault


async def test_amount_is_prefilled_and_what_cannot_be_is_refused_in_place(
    at_chafer: Driver,
) -> None:
    """A photo that is not there, an amount that is none: the line stays open, the note stays."""
    amount = at_chafer.screen.step.amount_ml
    await at_chafer.press("m", on="form")
    field = at_chafer.screen.query_one("#amount_ml")
    assert field.value == ("" if amount is None else f"{amount:g}")
    await at_chafer.write("looks duller", "down")
    await at_chafer.write("nowhere.jpg", "enter")
    assert at_chafer.at("form")
    assert "nowhere.jpg" in at_chafer.fault
    assert "check the path" in at_chafer.fault
    await at_chafer.press(*["backspace"] * 11, "up", "up")
    for typed in ("two", "-1", "nan"):
        await at_chafer.press(*["backspace"] * 6)
        await at_chafer.write(typed, "enter")
        assert at_chafer.at("form"), typed
        assert f'"{typed}"' in at_chafer.fault
    await at_chafer.press(*["backspace"] * 6, "enter")
    # A key that bounces must not record the next step too.
    await at_chafer.record("n")
    await at_chafer.press("n", "n", "n", on="recorded")
    (attempt,) = at_chafer.case.attempts
    assert attempt.note == "looks duller"


async def test_an_end_that_comes_too_early_is_asked_about_once(
    open_dry: Driver, hand: Hand
) -> None:
    """A chamber of hours that is ended after some seconds: asked, and the true time is kept."""
    hand.on(20)
    await open_dry.press("c", on="choice")
    await open_dry.press("1")
    assert open_dry.case.attempts == ()
    await open_dry.press("c", "2", on="recorded")
    assert open_dry.case.attempts[0].minutes == pytest.approx(20 / 60, abs=0.05)


async def test_harm_is_recorded_at_once_however_early(open_dry: Driver) -> None:
    await open_dry.press("d", on="recorded")
    assert open_dry.case.held_by()


async def test_the_stop_key_shows_what_to_do_at_each_stop_point(workshop: Workshop) -> None:
    async with walking(workshop, CHAFER, size=(140, 60)) as driver:
        step = driver.screen.step
        assert "STOP (Esc) if you see" in driver.text
        await driver.press("escape", on="stop")
        assert all(point.then in driver.words for point in step.stop_points)
        await driver.press("enter", "enter", "escape")
        assert driver.at("stop")
        await driver.press("q", on="walk")
        await driver.press("q", on="plan")


async def test_what_is_asked_late_does_not_cover_stop(at_chafer: Driver) -> None:
    """What a record leads to comes when it is written; stop may have been pressed meanwhile."""
    answers: list[str] = []
    walk = at_chafer.screen
    await at_chafer.press("escape", on="stop")
    walk.ask(ChoiceScreen("Is it dry?", (("yes", "yes"), ("no", "no"))), answers.append)
    await at_chafer.settled()
    assert at_chafer.at("stop")
    await at_chafer.press("q", on="choice")
    assert "Is it dry?" in at_chafer.text
    await at_chafer.press("2", on="walk")
    assert at_chafer.screen is walk
    assert answers == ["no"]


# -- the time -------------------------------------------------------------------------------------


async def test_the_dwell_timer_survives_the_program(dry: At, hand: Hand) -> None:
    workshop, case = dry
    async with walking(*dry, is_open=True) as driver:
        await driver.press("t")
        dwell_s = driver.screen.step.dwell_s
        await driver.until(lambda: driver.case.timers, "no timer in the case")
    hand.on(dwell_s - 600)
    async with driven(workshop, case=case) as driver:
        await driver.until(lambda: "10:00 left" in driver.text, "time left in the title line")
        await driver.press("s", on="walk")
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
    workshop.start_timer(case, next_step(*dry).id, 60, "soak")
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
    workshop.start_timer(case, next_step(*dry).id, 60, "soak")
    async with driven(workshop, case=case) as driver:
        driver.app._disable_notifications = False  # the pilot of the framework hides them
        await driver.press("s", on="walk")
        await driver.make_ready(SEEN)
        hand.on(61)
        await driver.until(lambda: driver.screen.query("Toast"), "no alarm is shown")
        await driver.until(lambda: driver.screen.query("Toast").first().region, "it has no place")
        for toast in driver.screen.query("Toast"):
            for name in ("#stops", "#countdown", "#outcomes", "KeysLine"):
                place = driver.screen.query_one(name).region
                assert not toast.region.overlaps(place), (name, toast.region, place)
        assert "Time is over" in driver.text


async def test_a_running_timer_is_stopped_only_when_told_twice(open_dry: Driver) -> None:
    await open_dry.press("t", "t", "t")
    assert len(open_dry.case.timers) == 1
    await open_dry.press("2")
    assert open_dry.case.timers == ()


async def test_a_look_can_be_put_off_by_one_key_up_to_the_longest_of_the_step(
    looks: At, hand: Hand
) -> None:
    """WCAG 2.2.1: a time can be made longer by a simple key, except where the limit is essential."""
    workshop, case = looks
    async with walking(*looks) as driver:
        step = driver.screen.step
        assert not step.hazardous
        await driver.press("t")
        first = driver.case.timers[0]
        await driver.press(*["g"] * 10)
        later = driver.case.timers[0]
        set_s = (first.ends - first.started).total_seconds()
        assert (later.ends - first.ends).total_seconds() == pytest.approx(10 * 0.25 * set_s)
        assert later.started == first.started
    assert step.dwell_most_s is not None
    workshop.start_timer(case, step.id, set_s, "look")
    hand.on(step.dwell_most_s)
    with pytest.raises(TriageError, match="at most"):
        workshop.extend_timer(case, step.id)


async def test_a_limit_cannot_be_put_off(open_dry: Driver) -> None:
    await open_dry.press("t", "g", "g")
    timer, step = open_dry.case.timers[0], open_dry.screen.step
    assert (timer.ends - timer.started).total_seconds() == step.dwell_s
    assert "Look later" not in open_dry.text
    with pytest.raises(TriageError, match="limit of exposure"):
        open_dry.workshop.extend_timer(open_dry.case_id, step.id)


async def test_the_alarm_says_what_the_step_needs(dry: At, looks: At, hand: Hand) -> None:
    said: list[str] = []
    needs: set[bool] = set()
    for workshop, case in (dry, looks):
        async with driven(workshop, case=case) as driver:
            driver.app.notify = lambda words, **_: said.append(words)
            step = next_step(workshop, case)
            workshop.start_timer(case, step.id, 60.0, "the dwell")
            await driver.press("s", on="walk")
            hand.on(61)
            await driver.until(lambda: bool(said), "no alarm")
            needs.add(bool(step.agent or step.rinse))
            assert ("rinse" in said.pop()) == bool(step.agent or step.rinse)
    assert needs == {True, False}


async def test_an_alarm_names_specimen_step_and_place_also_of_a_case_that_is_not_open(
    looks: At, hand: Hand
) -> None:
    """Two bees on the bench: what is over must be plain without going there."""
    workshop, other = looks
    step = next_step(*looks)
    assert step.zone_name
    # The command begins timers too, and calls them by the step alone.
    workshop.start_timer(other, step.id, 60, step.name)
    async with driven(workshop) as driver:
        await driver.to_row(f"{CHAFER}.yaml")
        await driver.press("enter", on="plan")
        assert driver.screen.case_id == CHAFER
        hand.on(41)
        await driver.until(lambda: driver.app._notifications, "no warning")
        warned = next(iter(driver.app._notifications)).message
        hand.on(20)
        await driver.on("alarm")
        over = str(driver.screen.query_one(".window-title").content)
        for said, word in ((warned, "19"), (over, "Time is over")):
            assert word in said
            for told in (workshop.load(other).title, step.name, step.zone_name):
                assert said.count(told) == 1, (told, said)
            assert step.id not in said
