"""The animal and its zones: drawn as the knowledge has them, looked at one by one, clean or not."""

from dataclasses import replace

import pytest

from tests.tui.driving import CASE, driven
from triage.case.models import CLEAN
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.looks import unseen_zones, zones_of
from triage.service.workshop import Workshop
from triage.show.words import STATE_SIGNS
from triage.tui.widgets.animal import (
    Drawing,
    ZoneState,
    drawn_plans,
    load_drawing,
    parse_drawing,
    with_signs,
    zone_states,
)

CHAFER = "rose-chafer-plate-1"


@pytest.fixture(params=drawn_plans())
def drawing(request: pytest.FixtureRequest) -> Drawing:
    found = load_drawing(request.param)
    assert found is not None
    assert found.plan == request.param
    return found


def test_every_body_plan_is_drawn(knowledge: Knowledge) -> None:
    assert set(drawn_plans()) == set(knowledge.body_plans)


def test_a_drawing_has_each_zone_of_its_body_plan_once_by_a_key_and_fits_beside_the_list(
    drawing: Drawing, knowledge: Knowledge
) -> None:
    drawn = {zone.zone for zone in drawing.zones}
    assert drawn == {zone.id for zone in knowledge.zones.values() if drawing.plan in zone.plans}
    keys = [zone.key for zone in drawing.zones]
    assert len(set(keys)) == len(keys)
    assert {zone.key for _, _, zone in drawing.marks} == set(keys)
    signs = {sign for line in drawing.lines for sign in line if sign.isalnum()}
    assert signs <= {*keys, "v", "o"}
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


def test_the_state_of_every_zone_has_room_beside_its_key(drawing: Drawing) -> None:
    """Each key keeps its place, and each side of the animal has its own sign."""
    for zone in drawing.zones:
        for side in ("left", "right") if zone.paired else (None,):
            state = ZoneState(zone.zone, side, "x", "")
            drawn = with_signs(drawing, (state,), "").plain.splitlines()
            for row, column, other in drawing.marks:
                assert drawn[row][column] == other.key
                there = drawing.side_at(column) if other.paired else None
                beside = drawn[row][max(0, column - 1) : column + 2]
                before = drawing.lines[row][max(0, column - 1) : column + 2]
                is_shown = "x" in beside and beside != before
                assert is_shown or not state.is_at(other.zone, there), (zone, side)


def test_every_state_of_a_finding_can_be_drawn(looking: Workshop) -> None:
    case = looking.load(CASE)
    plan = looking.plan(case)
    for state, (sign, *_) in STATE_SIGNS.items():
        findings = tuple(replace(each, state=state) for each in plan.findings)
        drawn = zone_states(case, replace(plan, findings=findings))
        assert {each.sign for each in drawn} == {sign}
        assert all(each.style for each in drawn)


@pytest.mark.parametrize(("width", "is_beside"), [(119, False), (120, True)])
async def test_beside_the_plan_stands_the_step_or_the_place_on_the_animal(
    looking: Workshop, width: int, is_beside: bool
) -> None:
    """From 120 columns on; below it the plan has all the room."""
    async with driven(looking, case=CASE, size=(width, 40)) as driver:
        assert driver.screen.query_one("#aside").display is is_beside
        step = driver.screen.plan.next_step()
        assert (step.success.split()[-1] in driver.text) is is_beside
        await driver.to_row("found-f1")
        assert ("head up; its left is on your left" in driver.text) is is_beside
        assert (" Ho " in driver.text) is is_beside


# -- clean ---------------------------------------------------------------------------------------


async def test_a_clean_zone_by_keys(workshop: Workshop) -> None:
    async with driven(workshop, case=CASE, size=(100, 60)) as driver:
        await driver.press("l", on="observe")
        mouth = driver.screen._zones().index("mouthparts") + 1
        await driver.press(*["down"] * mouth, "space")
        finding = driver.case.findings[-1]
        assert (finding.zone, finding.accepted, finding.reason) == ("mouthparts", True, CLEAN)
        assert CLEAN in driver.text
        await driver.press("space")
        assert driver.case.findings[-1] == finding
        await driver.press("q", "end")
        assert "looked at, clean: mouthparts" in driver.text


def test_it_changes_no_step_and_asks_nothing_and_what_has_something_open_is_not_clean(
    workshop: Workshop,
) -> None:
    before = workshop.plan(workshop.load(CASE))
    case = workshop.declare_clean(CASE, "mouthparts")
    after = workshop.plan(case)
    assert [step.id for step in after.steps] == [step.id for step in before.steps]
    assert not [q for q in after.questions if q.finding == case.findings[-1].id]
    with pytest.raises(TriageError, match="not clean"):
        workshop.declare_clean(CASE, "thorax-hairy")
    assert workshop.load(CASE) == case


async def test_the_rest_is_declared_clean_in_one_go_after_it_is_named(workshop: Workshop) -> None:
    """How far the looking has come stands in the title; the rest is named before it counts."""
    workshop.answer(CHAFER, "aim", "picture-as-it-stands")
    zones = zones_of(workshop.knowledge, workshop.load(CHAFER))
    unseen = unseen_zones(workshop.knowledge, workshop.load(CHAFER))
    async with driven(workshop, case=CHAFER) as driver:
        await driver.press("l", on="observe")
        assert f"{len(zones) - len(unseen)} of {len(zones)} looked at" in driver.text
        await driver.press("r")
        assert "Nothing is noted at" in driver.text
        await driver.press("1")
        assert unseen_zones(workshop.knowledge, driver.case) == unseen
        await driver.press("r", "2")
        await driver.until(lambda: f"{len(zones)} of {len(zones)} looked at" in driver.text)
        assert unseen_zones(workshop.knowledge, driver.case) == ()


async def test_the_end_is_said_with_what_was_left_and_why(workshop: Workshop) -> None:
    """Not before each zone was looked at, the drying is over and every finding has its end."""
    case = "skimmer-plate-8"
    told = {"aim": "picture-as-it-stands", "arrival": "set-on-pin", "hydration": "dry"}
    workshop.answer_all(case, None, told)
    workshop.accept(case, "f2", "below what the picture shows")
    async with driven(workshop, case=case, size=(80, 40)) as driver:
        assert "READY FOR THE CAMERA" not in driver.text
        await driver.press("l", "r", "2", "q", on="plan")
        said = driver.words
        assert "Below what the picture shows." in said
        assert "it belongs there" in said
        assert 0 <= said.index("READY FOR THE CAMERA") < said.index("then keep it")


async def test_what_was_found_stands_in_the_list_also_where_most_of_the_group_have_no_such_part(
    workshop: Workshop,
) -> None:
    """The hair on the thorax of a chafer was planned for, but stood in no list and was not counted."""
    case = workshop.load(CHAFER)
    zone = workshop.knowledge.zones[case.findings[0].zone]
    assert workshop.knowledge.taxa[case.taxon].plan not in zone.plans
    async with driven(workshop, case=CHAFER, size=(100, 60)) as driver:
        await driver.press("l", on="observe")
        assert zone.name in driver.text
        assert f"1 of {len(zones_of(workshop.knowledge, case))} looked at" in driver.text
