"""A zone that was looked at and is clean stands in the record, on the plan and in the list."""

from __future__ import annotations

import pytest

from tests.tui.driving import driven
from tests.tui.places import CASE
from triage.case.models import CLEAN
from triage.errors import TriageError
from triage.looks import unseen_zones, zones_of
from triage.service.workshop import Workshop
from triage.tui.screens.observe import ObserveScreen
from triage.tui.screens.plan import PlanScreen


async def test_a_clean_zone_by_keys(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE, size=(100, 60)) as driver:
        await driver.press("l", on=ObserveScreen)
        zones = driver.screen._zones()
        mouth = zones.index("mouthparts") + 1
        await driver.press(*["down"] * mouth, "space")
        finding = workshop.load(CASE).findings[-1]
        assert (finding.zone, finding.accepted, finding.reason) == ("mouthparts", True, CLEAN)
        assert CLEAN in driver.text
        await driver.press("space")
        assert workshop.load(CASE).findings[-1] == finding
        await driver.press("q", "end")
        assert "looked at, clean: mouthparts" in driver.text


def test_it_changes_no_step_and_asks_nothing(workshop: Workshop) -> None:
    before = workshop.plan(workshop.load(CASE))
    case = workshop.declare_clean(CASE, "mouthparts")
    after = workshop.plan(case)
    assert [step.id for step in after.steps] == [step.id for step in before.steps]
    assert not [q for q in after.questions if q.finding == case.findings[-1].id]


def test_a_zone_with_something_open_is_not_clean(workshop: Workshop) -> None:
    with pytest.raises(TriageError, match="not clean"):
        workshop.declare_clean(CASE, "thorax-hairy")
    assert len(workshop.load(CASE).findings) == 3


async def test_the_rest_is_declared_clean_in_one_go_after_it_is_named(workshop: Workshop) -> None:
    """How far the looking has come stands in the title; the rest is named before it counts."""
    case = "rose-chafer-plate-1"
    workshop.answer(case, "aim", "picture-as-it-stands")
    zones = zones_of(workshop.knowledge, workshop.load(case))
    unseen = unseen_zones(workshop.knowledge, workshop.load(case))
    async with driven(workshop, case=case) as driver:
        await driver.press("l", on=ObserveScreen)
        assert f"{len(zones) - len(unseen)} of {len(zones)} looked at" in driver.text
        await driver.press("r")
        assert "Nothing is noted at" in driver.text
        await driver.press("1")
        assert unseen_zones(workshop.knowledge, workshop.load(case)) == unseen
        await driver.press("r", "2")
        await driver.until(lambda: f"{len(zones)} of {len(zones)} looked at" in driver.text)
        assert unseen_zones(workshop.knowledge, workshop.load(case)) == ()


async def test_the_end_is_said_with_what_was_left_and_why(workshop: Workshop) -> None:
    """Not before each zone was looked at, the drying is over and every finding has its end."""
    case = "skimmer-plate-8"
    for question, answer in (
        ("aim", "picture-as-it-stands"),
        ("arrival", "set-on-pin"),
        ("hydration", "dry"),
    ):
        workshop.answer(case, question, answer)
    workshop.accept(case, "f2", "below what the picture shows")
    async with driven(workshop, case=case, size=(80, 40)) as driver:
        await driver.on(PlanScreen)
        assert "READY FOR THE CAMERA" not in driver.text
        await driver.press("l", "r", "2", "q", on=PlanScreen)
        told = " ".join(driver.text.split())
        assert "READY FOR THE CAMERA" in told
        assert "Below what the picture shows." in told
        assert "it belongs there" in told
        assert told.index("READY FOR THE CAMERA") < told.index("then keep it")


async def test_what_was_found_stands_in_the_list_also_where_most_of_the_group_have_no_such_part(
    workshop: Workshop,
) -> None:
    """The hair on the thorax of a chafer was planned for, but stood in no list and was not counted."""
    case = workshop.load("rose-chafer-plate-1")
    taxon = workshop.knowledge.taxa[case.taxon]
    zone = workshop.knowledge.zones[case.findings[0].zone]
    assert taxon.plan not in zone.plans
    async with driven(workshop, case=case.id, size=(100, 60)) as driver:
        await driver.press("l", on=ObserveScreen)
        assert zone.name in driver.text
        assert f"1 of {len(zones_of(workshop.knowledge, case))} looked at" in driver.text
