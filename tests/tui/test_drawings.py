"""The drawings say the truth about the knowledge: every zone of a body plan can be chosen."""

from __future__ import annotations

import pytest

from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.tui.drawing import drawn_plans, load_drawing, parse_drawing
from triage.tui.screens.observe import ObserveScreen

# Keys that mean something else where the drawing is shown.
TAKEN = {
    key for binding in ObserveScreen.BINDINGS for key in binding.key.split(",") if len(key) == 1
}


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
    assert not TAKEN & set(keys)
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
