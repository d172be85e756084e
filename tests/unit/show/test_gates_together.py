"""Gates that only want an answer are one line; one that was found shut speaks for itself."""

from __future__ import annotations

from triage.case.models import Case
from triage.case.profile import Bench
from triage.plan.planner import Planner
from triage.show.words import alerts


def told(planner: Planner, **answers: str) -> tuple[str, ...]:
    case = Case.model_validate(
        {"format": 1, "id": "new", "title": "new", "taxon": "beetles", "answers": answers}
    )
    return alerts(planner.plan(case, Bench()))


def test_what_nobody_told_is_asked_in_one_line(planner: Planner) -> None:
    lines = told(planner)
    (first,) = [line for line in lines if line.startswith("TO GO ON: answer first")]
    assert planner.knowledge.questions["old-poison-signs"].ask in first
    assert planner.knowledge.questions["lacquered"].ask in first
    assert not [line for line in lines if "Mercury or arsenic may be on it" in line]


def test_what_was_found_is_said_in_full(planner: Planner) -> None:
    lines = told(planner, **{"mouldy-smell": "yes"})
    assert f"FIRST: {planner.knowledge.rule('gate-mouldy').because}" in lines
    (first,) = [line for line in lines if line.startswith("TO GO ON: answer first")]
    assert planner.knowledge.questions["mouldy-smell"].ask not in first
