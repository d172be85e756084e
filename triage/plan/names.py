"""What findings and steps are called, and how often a step worked here, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from triage.plan.model import Step

if TYPE_CHECKING:
    from triage.plan.model import FindingLine, Plan


def zone_words(zone_name: str | None, side: str | None) -> str:
    """Return zone and side as they are said."""
    if not zone_name:
        return "whole specimen"
    return f"{zone_name}, {side}" if side else zone_name


def finding_words(line: FindingLine) -> str:
    """Return where a finding is and what it is taken to be."""
    return f"{zone_words(line.zone_name, line.side)}: {line.deposit_name}"


def finding_names(*plans: Plan) -> dict[str, str]:
    """Return what each finding is called: its place, with its deposit where others share that."""
    lines = {line.id: line for plan in plans for line in plan.findings}
    places = {key: zone_words(line.zone_name, line.side) for key, line in lines.items()}
    said = list(places.values())
    names = {
        key: place if said.count(place) == 1 else finding_words(lines[key])
        for key, place in places.items()
    }
    told = list(names.values())
    return {
        key: name if told.count(name) == 1 else f"{name} ({key})" for key, name in names.items()
    }


def step_names(*plans: Plan) -> dict[str, str]:
    """Return what each step is called: its method and the finding it works on."""
    places = finding_names(*plans)
    return {
        step.id: f"{step.name}, {places.get(step.finding or '', 'whole specimen')}"
        for plan in plans
        for step in plan.steps
    }


RECORD = "own record: "


def own_record(step: Step) -> str:
    """Return how often the step worked here, in words; empty where nothing is on record."""
    told = (line for line in step.evidence if line.startswith(RECORD))
    return next(told, "").removeprefix(RECORD)
