"""Acts of a person that rest on the record: skip a rung as suggested, note a chamber look."""

from __future__ import annotations

from triage.case.models import Case
from triage.errors import TriageError, did_you_mean
from triage.history.advice import skip_suggestions
from triage.history.evidence import Evidence
from triage.service import Workshop


def accept_suggestion(workshop: Workshop, case: Case, step: str, evidence: Evidence) -> Case:
    """Record that a person skips a rung as suggested, with the suggestion as the reason.

    Raises
    ------
    TriageError: there is no such suggestion for the case as it stands now.
    """
    plan = workshop.plan(case)
    suggestions = {s.step: s for s in skip_suggestions(plan, case.taxon, evidence)}
    if step not in suggestions:
        raise TriageError(
            f'nothing suggests skipping "{step}"',
            mend=did_you_mean(step, suggestions) if suggestions else "record attempts first",
        )
    found = suggestions[step]
    return workshop.skip(case.id, found.finding, found.method, f"seldom worked: {found.reason}")
