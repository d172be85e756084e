"""The drawings say the truth about the knowledge: every zone of a body plan can be chosen."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.tui.driving import driven
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.service.workshop import Workshop
from triage.show.words import STATE_SIGNS
from triage.tui.screens.plan import PlanScreen
from triage.tui.widgets.animal import (
    ZoneState,
    drawn_plans,
    load_drawing,
    parse_drawing,
    with_signs,
    zone_states,
)


def test_every_body_plan_is_drawn(knowledge: Knowledge) -> None:
    assert set(drawn_plans()) == set(knowledge.body_plans)


@pytest.mark.parametrize("plan", drawn_plans())
def test_the_zones_of_a_drawing_are_those_of_the_body_plan(plan: str, knowledge: Knowledge) -> None:
    drawing = load_drawing(plan)
    assert drawing is not None
    assert drawing.plan == plan
    drawn = {zone.zone for zone in drawing.zones}
    assert drawn == {zone.id for zone in knowledge.zones.values() if plan in zone.plans}


@pytest.mark.parametrize("plan", drawn_plans())
def test_keys_are_free_and_stand_on_the_drawing(plan: str) -> None:
    drawing = load_drawing(plan)
    assert drawing is not None
    keys = [zone.key for zone in drawing.zones]
    assert len(set(keys)) == len(keys)
    assert {zone.key for _, _, zone in drawing.marks} == set(keys)
    signs = {sign for line in drawing.lines for sign in line if sign.isalnum()}
    assert signs <= {*keys, "v", "o"}


@pytest.mark.parametrize("plan", drawn_plans())
def test_a_drawing_fits_beside_the_list_in_80_by_24(plan: str) -> None:
    drawing = load_drawing(plan)
    assert drawing is not None
    assert drawing.width <= 40
    assert len(drawing.lines) <= 21


def test_paired_zones_are_found_on_the_side_where_they_are_clicked() -> None:
    drawing = load_drawing("beetle")
    assert drawing is not None
    for row, column, zone in drawing.marks:
        assert drawing.nearest(row, column) == zone
    eyes = sorted(column for _, column, zone in drawing.marks if zone.zone == "compound-eye")
    assert [drawing.side_at(column) for column in eyes] == ["left", "right"]


def test_a_line_that_is_no_zone_is_refused_with_its_line() -> None:
    with pytest.raises(TriageError, match=r"x\.txt:2"):
        parse_drawing("plan: x\nzonne 1 leg\n---\n1\n", "x.txt")


@pytest.mark.parametrize("plan", drawn_plans())
def test_the_state_of_every_zone_has_room_beside_its_key(plan: str) -> None:
    """Each key keeps its place, and each side of the animal has its own sign."""
    drawing = load_drawing(plan)
    assert drawing is not None
    for zone in drawing.zones:
        for side in ("left", "right") if zone.paired else (None,):
            state = ZoneState(zone.zone, side, "x", "")
            drawn = with_signs(drawing, (state,), "").plain.splitlines()
            for row, column, other in drawing.marks:
                assert drawn[row][column] == other.key
                is_there = state.is_at(
                    other.zone, drawing.side_at(column) if other.paired else None
                )
                beside = drawn[row][max(0, column - 1) : column + 2]
                before = drawing.lines[row][max(0, column - 1) : column + 2]
                assert ("x" in beside and beside != before) or not is_there, (zone, side)


@pytest.mark.parametrize("state", STATE_SIGNS)
def test_every_state_of_a_finding_can_be_drawn(state: str, looking: Workshop) -> None:
    case = looking.load("bumblebee-plate-3")
    plan = looking.plan(case)
    findings = tuple(replace(each, state=state) for each in plan.findings)
    drawn = zone_states(case, replace(plan, findings=findings))
    assert {each.sign for each in drawn} == {STATE_SIGNS[state][0]}
    assert all(each.style for each in drawn)


async def test_beside_the_plan_stands_the_step_or_the_place_on_the_animal(
    looking: Workshop,
) -> None:
    """From 120 columns on; below it the plan has all the room."""
    for width, is_beside in ((119, False), (120, True)):
        async with driven(looking, case="bumblebee-plate-3", size=(width, 40)) as driver:
            await driver.on(PlanScreen)
            aside = driver.screen.query_one("#aside")
            assert aside.display is is_beside
            step = driver.screen.plan.next_step()
            assert (step.success.split()[-1] in driver.text) is is_beside
            listed = driver.screen.query_one("#rows")
            listed.highlighted = listed.get_option_index("found-f1")
            await driver.settled()
            assert ("head up; its left is on your left" in driver.text) is is_beside
            assert (" Ho " in driver.text) is is_beside
