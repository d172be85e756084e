"""The bench day on the screen: the same day, looks and record as the commands give."""

from __future__ import annotations

import re
import shutil
from datetime import timedelta
from pathlib import Path

import pytest

from tests.tui.conftest import Opened
from tests.tui.driving import NOON, Driver, Hand, driven, next_step
from triage.case.changes import with_timer
from triage.case.models import Timer
from triage.case.store import update_case
from triage.cli import main
from triage.errors import TriageError
from triage.history.table import Filter, filter_from_line
from triage.service.acts import bench_day
from triage.service.workshop import Workshop, open_workshop
from triage.tui.screens.form import FormScreen
from triage.tui.screens.photos import PhotosScreen
from triage.tui.screens.plan import PlanScreen
from triage.tui.screens.today import Names, TodayScreen

CHAMBER = "case-brittle-chamber-water-thymol"
MOTH = "hawkmoth-plate-5"


# Cases, steps, methods, zones, deposits and agents of the demo as their files call them.
IDS = re.compile(
    r"[a-z]+-plate-\d|\bf\d-|\bcase-[a-z]|puff-air|water-swish|wing-membranous|loose-dust"
    r"|water-distilled|detergent-neutral|no-change"
)


def flat(driver: Driver) -> str:
    return " ".join(driver.text.split())


def lay_in_a_chamber(workshop: Workshop, case: str = MOTH, ago_h: float = 25) -> None:
    """Start the timer of a damp chamber some hours before now."""
    begun = workshop.clock() - timedelta(hours=ago_h)
    timer = Timer(
        step=CHAMBER, label="damp chamber", started=begun, ends=begun + timedelta(hours=24)
    )
    update_case(workshop.path_of(case), lambda old: with_timer(old, timer))


def record_with_photos(workshop: Workshop, case: str = "bumblebee-plate-3") -> None:
    (workshop.cases / "before.jpg").write_bytes(b"x")
    step = next_step(workshop, case)
    workshop.record(case, step.id, "better", note="brown ring", photo_before="before.jpg")


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_the_day_stands_in_its_order_and_a_row_opens_its_case(
    workshop: Workshop, size: tuple[int, int]
) -> None:
    day = bench_day(workshop)
    first = day.plan.entries[0]
    async with driven(workshop, size=size) as driver:
        await driver.press("j", on=TodayScreen)
        text = flat(driver)
        assert f"planned at 12:00, {day.cases} cases" in text
        assert "; ends " in text
        assert first.begin_min == 12 * 60
        names = Names(workshop.knowledge, workshop.load)
        for entry in day.plan.entries[:4]:
            whose = f"{names.case(entry.case)}: {names.place(entry.case, entry.step)}"
            assert f"{entry.name} {whose}" in text
        assert not IDS.search(text), IDS.findall(text)
        await driver.press("enter", on=PlanScreen)
        assert driver.screen.case_id == first.case
        await driver.press("q", on=TodayScreen)


async def test_the_day_is_planned_beside_the_keys(
    workshop: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    """While the day is planned it says so, and another view can be gone to."""
    said = []
    async with driven(workshop) as driver:
        monkeypatch.setattr(
            "triage.service.acts.bench_day",
            lambda shop: (said.append(driver.text), bench_day(shop))[1],
        )
        await driver.pilot.press("j")
        await driver.until(lambda: isinstance(driver.screen, TodayScreen), "the day")
        await driver.pilot.press("3")
        await driver.settled()
        assert driver.screen.view == 2
        assert "Attempts on record: 2" in driver.text
        assert "planned at" not in driver.text
    assert len(said) == 1


async def test_what_is_held_or_refused_is_said_with_its_reason(workshop: Workshop) -> None:
    async with driven(workshop, size=(140, 40)) as driver:
        await driver.press("j")
        text = flat(driver)
        assert "not today" in text
        assert "- Hoverfly, water meadow plate, place 2: held" in text
        assert "release it with a reason first" in text


def looked_by_command(folder: Path, monkeypatch: pytest.MonkeyPatch, note: str) -> bytes:
    def at_noon(**places: object) -> Workshop:
        return open_workshop(**places, clock=Hand())  # type: ignore[arg-type]

    monkeypatch.setattr("triage.service.workshop.open_workshop", at_noon)
    assert main(["looked", MOTH, "--note", note, "--cases", str(folder)]) == 0
    return (folder / f"{MOTH}.yaml").read_bytes()


async def test_a_look_is_recorded_as_by_the_command(
    workshop: Workshop, opened_on: Opened, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    lay_in_a_chamber(workshop)
    other = tmp_path / "other"
    shutil.copytree(workshop.cases, other)
    async with driven(workshop) as driver:
        await driver.press("q")  # the chamber is over, said by the window; later
        await driver.press("j", "2")
        assert "LOOK NOW" in flat(driver)
        assert "top up" in flat(driver)
        assert "mould" in flat(driver)
        await driver.press("i", on=FormScreen)
        await driver.write("topped up water", "enter", on=TodayScreen)
        assert "LOOK NOW" not in flat(driver)
        made = (workshop.cases / f"{MOTH}.yaml").read_bytes()
        # F9 changes nothing.
        await driver.press("i", "f9")
        assert (workshop.cases / f"{MOTH}.yaml").read_bytes() == made
    assert b"topped up water" in made
    assert made == looked_by_command(other, monkeypatch, "topped up water")


async def test_one_key_of_the_plan_records_a_look(workshop: Workshop) -> None:
    """Only while its specimen lies in a chamber; elsewhere the key does nothing."""
    path = workshop.path_of(MOTH)
    async with driven(workshop, case=MOTH) as driver:
        await driver.press("i")
        assert b"looked" not in path.read_bytes()
    lay_in_a_chamber(workshop, ago_h=7)
    async with driven(workshop, case=MOTH) as driver:
        assert "I looked" in driver.text.splitlines()[-1]
        await driver.press("i")
        assert path.read_bytes().count(b"- at: 2026-03-04T12:00") == 1
        assert "looked into its chamber at 12:00" in flat(driver)


@pytest.mark.parametrize(("hour", "ends"), [(6, 18), (12, 18), (20, 24)])
async def test_the_day_begins_now_whatever_the_hour(
    demo: Path, opened_on: Opened, hour: int, ends: int
) -> None:
    """Nobody is at the bench in vain before nine or after six: the next step is due this minute."""
    workshop = opened_on(demo, Hand(NOON.replace(hour=hour, minute=10)))
    day = bench_day(workshop)
    assert day.plan.entries[0].begin_min == hour * 60 + 10
    assert day.plan.entries[-1].end_min <= ends * 60


async def test_what_runs_stands_first(workshop: Workshop) -> None:
    lay_in_a_chamber(workshop, ago_h=23)
    async with driven(workshop) as driver:
        await driver.press("j")
        lines = [line.strip() for line in driver.text.splitlines()]
        at = lines.index("running now")
        assert "Wed 13:00, in 60 min" in lines[at + 1]
        assert "Hawkmoth, water meadow plate, place 5" in " ".join(lines[at + 1 : at + 3])
        assert at < min(n for n, line in enumerate(lines) if line.startswith("12:0"))


async def test_without_a_chamber_no_look_is_asked_for(workshop: Workshop) -> None:
    async with driven(workshop) as driver:
        await driver.press("j", "2")
        assert "no chamber runs" in driver.text
        await driver.press("i")
        assert isinstance(driver.screen, TodayScreen)
        assert "CANNOT DO THAT" in driver.text
        assert "Running chambers: 0" in driver.text


async def test_the_record_is_filtered_and_its_photos_open(workshop: Workshop) -> None:
    record_with_photos(workshop)
    async with driven(workshop) as driver:
        await driver.press("j", "3")
        assert "Attempts on record: 3" in driver.text
        await driver.press("slash")
        await driver.write("outcome=damage", "enter")
        assert "Attempts that pass: outcome=damage: 1" in driver.text
        assert "damage: water swish - Hoverfly, water meadow plate, place 2" in flat(driver)
        assert "no change: puff of air" not in driver.text
        assert not IDS.search(driver.text), IDS.findall(driver.text)
        await driver.write("d", "enter")
        assert 'unknown outcome "damaged"; did you mean "damage"?' in flat(driver)
        assert "Attempts that pass: outcome=damage: 1" in driver.text
        await driver.press("f9")
        assert "Attempts on record: 3" in driver.text
        await driver.press("slash")
        await driver.write("meadow swish")  # words as they are shown
        await driver.press("enter")
        assert "Attempts that pass: meadow swish: 1" in driver.text
        await driver.press("f9", "down", "p")
        assert "has no photo" in flat(driver)
        await driver.press("slash")
        await driver.write("photos")
        await driver.press("enter", "down", "p", on=PhotosScreen)
        assert driver.screen.case_id == "bumblebee-plate-3"


async def test_what_worked_and_what_is_left(workshop: Workshop) -> None:
    async with driven(workshop, size=(140, 40)) as driver:
        await driver.press("j", "4")
        text = flat(driver)
        assert "evaporated, upper bound" in text
        assert "ethanol (no methanol): used 0 mL, left 500 mL" in text
        assert "2 trials on record" in text
        assert "puff of air on loose dust, sand or fibre / bare membranous wing / flies" in text
        assert not IDS.search(text), IDS.findall(text)
        await driver.press("enter")  # a row without a case opens nothing
        assert isinstance(driver.screen, TodayScreen)


async def test_the_figures_of_the_photos_stand_with_the_attempt_and_with_what_worked(
    workshop: Workshop,
) -> None:
    step = next_step(workshop, "bumblebee-plate-3")
    kept = {"left": 14, "came": 5, "removed": [0.45, 0.1, 0.7], "colour_median": 0.4}
    workshop.record("bumblebee-plate-3", step.id, "better", measured=kept)
    async with driven(workshop, size=(140, 40)) as driver:
        await driver.press("j", "3")
        assert "14 spots left, 5 came, 45 % gone (10 to 70 %), colour moved 0.4" in flat(driver)
        await driver.press("4", "end")
        assert "1 measured, 45 % gone (10 to 70 %), colour moved 0.4" in flat(driver)
        assert not IDS.search(flat(driver))


async def test_stop_works_here_and_the_keys_of_a_view_are_its_own(workshop: Workshop) -> None:
    async with driven(workshop) as driver:
        await driver.press("j")
        last = driver.text.splitlines()[-1]
        assert "Esc STOP" in last
        assert "Search" not in last
        await driver.press("i")
        assert "CANNOT" not in driver.text
        await driver.press("3")
        assert "Search" in driver.text.splitlines()[-1]
        await driver.press("q")
        assert not isinstance(driver.screen, TodayScreen)


async def test_an_empty_folder_and_a_broken_case_are_said_in_words(
    tmp_path: Path, opened_on: Opened
) -> None:
    folder = tmp_path / "cases"
    folder.mkdir()
    (folder / "broken.yaml").write_text("format: 1\nid: broken\ntitle: [\n", encoding="utf-8")
    async with driven(opened_on(folder)) as driver:
        await driver.press("j")
        assert "nothing to do at the bench today" in driver.text
        await driver.press("3")
        assert "no attempt on record passes" in driver.text


def test_the_filter_line() -> None:
    since = NOON.date()
    assert filter_from_line("") == Filter()
    assert filter_from_line(f"method=puff-air  since={since} brown ring photos") == Filter(
        method="puff-air", since=since, words=("brown", "ring"), has_photos=True
    )


@pytest.mark.parametrize(
    ("line", "words"),
    [
        ("metod=puff-air", 'nothing to filter by "metod"; did you mean "method"'),
        ("method=", '"method" is given without a value'),
        ("zone=a zone=b", '"zone" is given twice'),
        ("since=yesterday", '"yesterday" is not a day; write it as 2026-01-31'),
        ("words=x", 'nothing to filter by "words"'),
    ],
)
def test_a_wrong_filter_line_is_refused_with_its_mend(line: str, words: str) -> None:
    with pytest.raises(TriageError) as fault:
        filter_from_line(line)
    assert words in fault.value.line()
