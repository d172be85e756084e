"""The line of a step that says how often its method worked on this bench."""

from __future__ import annotations

from triage.plan.model import Step

RECORD = "own record: "


def own_record(step: Step) -> str:
    """Return how often the step worked here, in words; empty where nothing is on record."""
    told = (line for line in step.evidence if line.startswith(RECORD))
    return next(told, "").removeprefix(RECORD)
