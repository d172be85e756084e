"""What the record adds to a plan: a line beside each rung, and a rung that may be skipped.

Pure functions: plan and evidence go in, a new plan or a suggestion comes out. A suggestion is
never carried out by itself; a person accepts it, and it is recorded with its reason.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from triage.history.evidence import Evidence, Group
from triage.plan.model import Plan, Step
from triage.plan.names import RECORD
from triage.plan.outcomes import INSERT


@dataclass(frozen=True, slots=True)
class SkipSuggestion:
    """A rung that seldom worked here and could be skipped for the one behind it.

    Parameters
    ----------
    step, method, finding the rung that could be skipped
    instead               id of the step that would then stand in its place
    reason                what is written into the case if a person accepts
    then                  the part of the reason that says what comes instead
    """

    step: str
    method: str
    finding: str | None
    instead: str
    reason: str
    then: str


def group_of(evidence: Evidence, step: Step, taxon: str) -> Group:
    """Return the rate of a step's method on its deposit and zone in a taxon group."""
    return evidence.group(step.method, step.deposit, step.zone, taxon)


def with_evidence(plan: Plan, taxon: str, evidence: Evidence) -> Plan:
    """Return the plan with the own record first among the evidence of each step."""
    if evidence.size == 0:
        return plan
    return replace(plan, steps=tuple(_told(step, taxon, evidence) for step in plan.steps))


def _told(step: Step, taxon: str, evidence: Evidence) -> Step:
    if INSERT in step.id or evidence.counts(step.method)[1] == 0:
        return step
    text = group_of(evidence, step, taxon).text
    if not text:
        return step
    others = tuple(line for line in step.evidence if not line.startswith(RECORD))
    return replace(step, evidence=(f"{RECORD}{text}", *others))


def skip_suggestions(plan: Plan, taxon: str, evidence: Evidence) -> tuple[SkipSuggestion, ...]:
    """Return the rungs of a plan that seldom worked here, at most one for each finding.

    Notes
    -----
    Suggested only where a percentage may be shown and the whole interval lies below the line in
    the knowledge, for the first rung of a ladder, and only if the rung behind it has the same
    worst grade of harshness, no higher hazard to the person, and is not newly hazardous. A plan
    that is refused or held gets none.
    """
    if plan.refused or plan.held:
        return ()
    found = []
    for target in dict.fromkeys((step.finding, step.deposit) for step in plan.steps):
        rungs = [
            step
            for step in plan.steps
            if (step.finding, step.deposit) == target and INSERT not in step.id
        ]
        if len(rungs) > 1:
            suggestion = _suggestion(rungs, taxon, evidence)
            if suggestion is not None:
                found.append(suggestion)
    return tuple(found)


def _suggestion(rungs: Sequence[Step], taxon: str, evidence: Evidence) -> SkipSuggestion | None:
    first, second = rungs[0], rungs[1]
    group, terms = group_of(evidence, first, taxon), evidence.terms
    if group.rate.tried < terms.least_trials or group.rate.high >= terms.skip_below:
        return None
    if crosses_a_grade(first, second):
        return None
    then = f"{second.name} comes next and is no harsher in grade."
    reason = f"{first.name} {group.text}; {then}"
    return SkipSuggestion(first.id, first.method, first.finding, second.id, reason, then)


def crosses_a_grade(first: Step, second: Step) -> bool:
    """Return whether going on to the second step means a higher grade of harshness or hazard."""
    before, after = first.harshness, second.harshness
    return (
        after.worst > before.worst
        or after.person > before.person
        or (second.hazardous and not first.hazardous)
    )
