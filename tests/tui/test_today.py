"""The bench day on the screen: the same day, looks and record as the commands give."""

import re
import shutil
from collections.abc import AsyncIterator
from datetime import timedelta
from pathlib import Path

import pytest

from tests.tui.conftest import Opened
from tests.tui.driving import CASE, NOON, Driver, Hand, driven, next_step
from triage.case.changes import with_timer
from triage.case.models import Timer
from triage.case.store import update_case
from triage.cli import main
from triage.errors import TriageError
from triage.history.table import Filter, filter_from_line
from triage.service.acts import bench_day
from triage.service.workshop import Workshop, open_workshop
from triage.tui.screens.today import Names

CHAMBER = "case-brittle-chamber-water-thymol"
MOTH = "hawkmoth-plate-5"
# Cases, steps, methods, zones, deposits and agents of the demo as their files call them.
IDS = re.compile(
    r"[a-z]+-plate-\d|\bf\d-|\bcase-[a-z]|puff-air|water-swish|wing-membranous|loose-dust"
    r"|water-distilled|detergent-neutral|no-change"
)


def lay_in_a_chamber(workshop: Workshop, ago_h: float) -> Path:
    """Start the timer of the moth's damp chamber some hours before now; return its file."""
    begun = workshop.clock() - timedelta(hours=ago_h)
    ends = begun + timedelta(hours=24)
    timer = Timer(step=CHAMBER, label="damp chamber", started=begun, ends=ends)
    update_case(workshop.path_of(MOTH), lambda old: with_timer(old, timer))
    return workshop.path_of(MOTH)


@pytest.fixture
async def day(workshop: Workshop) -> AsyncIterator[Driver]:
    """The bench day of the demo cases, on a wide screen; one attempt has a photo and figures."""
    (workshop.cases / "before.jpg").write_bytes(b"x")
    kept = {"left": 14, "came": 5, "removed": [0.45, 0.1, 0.7], "colour_median": 0.4}
    told = {"note": "brown ring", "photo_before": "before.jpg", "measured": kept}
    workshop.record(CASE, next_step(workshop, CASE).id, "better", **told)
    async with driven(workshop, size=(140, 40)) as driver:
        await driver.press("j", on="today")
        yield driver


@pytest.mark.parametrize("size", [(80, 24), (140, 40)])
async def test_the_day_stands_in_its_order_and_a_row_opens_its_case(
    workshop: Workshop, size: tuple[int, int]
) -> None:
    planned = bench_day(workshop)
    first = planned.plan.entries[0]
    async with driven(workshop, size=size) as driver:
        await driver.press("j", on="today")
        text = driver.words
        assert f"planned at 12:00, {planned.cases} cases" in text
        assert "; ends " in text
        assert first.begin_min == 12 * 60
        names = Names(workshop.knowledge, workshop.load)
        for entry in planned.plan.entries[:4]:
            whose = f"{names.case(entry.case)}: {names.place(entry.case, entry.step)}"
            assert f"{entry.name} {whose}" in text
        assert not IDS.search(text), IDS.findall(text)
        await driver.press("enter", on="plan")
        assert driver.screen.case_id == first.case
        await driver.press("q", on="today")


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
        await driver.until(lambda: driver.at("today"), "the day")
        await driver.pilot.press("3")
        await driver.settled()
        assert driver.screen.view == 2
        assert "Attempts on record: 2" in driver.text
        assert "planned at" not in driver.text
    assert len(said) == 1


async def test_what_is_held_and_what_worked_are_said_in_words(day: Driver) -> None:
    for said in (
        "not today",
        "- Hoverfly, water meadow plate, place 2: held",
        "release it with a reason first",
    ):
        assert said in day.words
    await day.press("3")
    assert "14 spots left, 5 came, 45 % gone (10 to 70 %), colour moved 0.4" in day.words
    await day.press("4")
    for said in (
        "evaporated, upper bound",
        "ethanol (no methanol): used 0 mL, left 500 mL",
        "3 trials on record",
        "puff of air on loose dust, sand or fibre / bare membranous wing / flies",
    ):
        assert said in day.words, day.text
    assert not IDS.search(day.words), IDS.findall(day.words)
    await day.press("enter")  # a row without a case opens nothing
    assert day.at("today")
    await day.press("end")
    assert "1 measured, 45 % gone (10 to 70 %), colour moved 0.4" in day.words
    assert not IDS.search(day.words)


async def test_the_record_is_filtered_and_its_photos_open(day: Driver) -> None:
    await day.press("3")
    assert "Attempts on record: 3" in day.text
    await day.press("slash")
    await day.write("outcome=damage", "enter")
    assert "Attempts that pass: outcome=damage: 1" in day.text
    assert "damage: water swish - Hoverfly, water meadow plate, place 2" in day.words
    assert "no change: puff of air" not in day.text
    assert not IDS.search(day.text), IDS.findall(day.text)
    await day.write("d", "enter")
    assert 'unknown outcome "damaged"; did you mean "damage"?' in day.words
    assert "Attempts that pass: outcome=damage: 1" in day.text
    await day.press("f9")
    assert "Attempts on record: 3" in day.text
    await day.press("slash")
    await day.write("meadow swish", "enter")  # words as they are shown
    assert "Attempts that pass: meadow swish: 1" in day.text
    await day.press("f9", "down", "p")
    assert "has no photo" in day.words
    await day.press("slash")
    await day.write("photos", "enter", "down", "p", on="photos")
    assert day.screen.case_id == CASE


async def test_the_keys_of_a_view_are_its_own_and_without_a_chamber_no_look_is_asked_for(
    day: Driver,
) -> None:
    assert "Esc STOP" in day.last_line
    assert "Search" not in day.last_line
    await day.press("i")
    assert "CANNOT" not in day.text
    await day.press("3")
    assert "Search" in day.last_line
    await day.press("2")
    assert "no chamber runs" in day.text
    await day.press("i")
    assert day.at("today")
    assert "CANNOT DO THAT" in day.text
    assert "Running chambers: 0" in day.text
    await day.press("q")
    assert not day.at("today")


# -- chambers -------------------------------------------------------------------------------------


async def test_a_look_is_recorded_as_by_the_command(
    workshop: Workshop, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = lay_in_a_chamber(workshop, ago_h=25)
    other = tmp_path / "other"
    shutil.copytree(workshop.cases, other)
    async with driven(workshop) as driver:
        await driver.press("q")  # the chamber is over, said by the window; later
        await driver.press("j", "2")
        for said in ("LOOK NOW", "top up", "mould"):
            assert said in driver.words
        await driver.press("i", on="form")
        await driver.write("topped up water", "enter", on="today")
        assert "LOOK NOW" not in driver.words
        made = path.read_bytes()
        # F9 changes nothing.
        await driver.press("i", "f9")
        assert path.read_bytes() == made
    assert b"topped up water" in made

    def at_noon(**places: object) -> Workshop:
        return open_workshop(**places, clock=Hand())  # type: ignore[arg-type]

    monkeypatch.setattr("triage.service.workshop.open_workshop", at_noon)
    assert main(["looked", MOTH, "--note", "topped up water", "--cases", str(other)]) == 0
    assert made == (other / path.name).read_bytes()


async def test_one_key_of_the_plan_records_a_look(workshop: Workshop) -> None:
    """Only while its specimen lies in a chamber; elsewhere the key does nothing."""
    async with driven(workshop, case=MOTH) as driver:
        await driver.press("i")
        assert b"looked" not in workshop.path_of(MOTH).read_bytes()
    path = lay_in_a_chamber(workshop, ago_h=7)
    async with driven(workshop, case=MOTH) as driver:
        assert "I looked" in driver.last_line
        await driver.press("i")
        assert path.read_bytes().count(b"- at: 2026-03-04T12:00") == 1
        assert "looked into its chamber at 12:00" in driver.words


async def test_what_runs_stands_first(workshop: Workshop) -> None:
    lay_in_a_chamber(workshop, ago_h=23)
    async with driven(workshop) as driver:
        await driver.press("j")
        lines = [line.strip() for line in driver.text.splitlines()]
        at = lines.index("running now")
        assert "Wed 13:00, in 60 min" in lines[at + 1]
        assert "Hawkmoth, water meadow plate, place 5" in " ".join(lines[at + 1 : at + 3])
        assert at < min(n for n, line in enumerate(lines) if line.startswith("12:0"))


@pytest.mark.parametrize(("hour", "ends"), [(6, 18), (12, 18), (20, 24)])
async def test_the_day_begins_now_whatever_the_hour(
    demo: Path, opened_on: Opened, hour: int, ends: int
) -> None:
    """Nobody is at the bench in vain before nine or after six: the next step is due this minute."""
    entries = bench_day(opened_on(demo, Hand(NOON.replace(hour=hour, minute=10)))).plan.entries
    assert entries[0].begin_min == hour * 60 + 10
    assert entries[-1].end_min <= ends * 60


async def test_an_empty_folder_and_a_broken_case_are_said_in_words(
    tmp_path: Path, opened_on: Opened
) -> None:
    broken = "format: 1\nid: broken\ntitle: [\n"
    (tmp_path / "broken.yaml").write_text(broken, encoding="utf-8")
    async with driven(opened_on(tmp_path)) as driver:
        await driver.press("j")
        assert "nothing to do at the bench today" in driver.text
        await driver.press("3")
        assert "no attempt on record passes" in driver.text


# -- the filter line ------------------------------------------------------------------------------


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
