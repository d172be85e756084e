"""Looks at the specimen: zones that are clean, and times that only say when to look again."""

from __future__ import annotations

from datetime import datetime, timedelta

from triage.case.models import HARMFUL, Case, Timer
from triage.errors import TriageError
from triage.knowledge.book import Knowledge
from triage.knowledge.specimen import STAGES
from triage.plan.model import Plan, Step

# What may be left to be seen in the picture, and what is gone.
LEFT = ("accepted", "left", "stopped")
ENDED = ("cleared", *LEFT)
# A look may be put off by this share of its time with each key.
MORE_SHARE = 0.25
# An end is too early to be believed before this share of the time, where that is long enough for
# one to have gone away and come back.
EARLY_SHARE = 0.5
EARLY_FROM_S = 600  # what takes minutes is timed by hand
HOUR_S = 3_600


def zones_of(knowledge: Knowledge, case: Case) -> tuple[str, ...]:
    """Return the zones that this animal has, those of its findings too; none of an unknown group.

    Within a group some have a part that most lack: what was found there must not be hidden.
    """
    taxon = knowledge.taxa.get(case.taxon)
    if taxon is None:
        return ()
    found = {finding.zone for finding in case.findings}
    zones = knowledge.zones.values()
    return tuple(zone.id for zone in zones if taxon.plan in zone.plans or zone.id in found)


def unseen_zones(knowledge: Knowledge, case: Case) -> tuple[str, ...]:
    """Return the zones of this animal where nothing was found and nothing declared clean."""
    seen = {finding.zone for finding in case.findings}
    return tuple(zone for zone in zones_of(knowledge, case) if zone not in seen)


def is_ready_for_camera(knowledge: Knowledge, case: Case, plan: Plan) -> bool:
    """Return whether only the keeping is left: each zone seen, nothing open, held or refused."""
    return (
        plan.stage == "keep"
        and not (plan.held or plan.refused or unseen_zones(knowledge, case))
        and bool(zones_of(knowledge, case))
        and all(line.state in ENDED for line in plan.findings)
        and all(step.stage == "keep" for step in plan.steps)
    )


def is_after_cleaning(step: Step) -> bool:
    """Return whether a step belongs to a stage behind the cleaning."""
    return STAGES.index(step.stage) > STAGES.index("clean")


def timed_s(step: Step) -> float | None:
    """Return the time to set for a step [s]: its dwell, else the time to its first look."""
    if step.dwell_s is not None:
        return step.dwell_s
    return step.look_after_h[0] * HOUR_S if step.look_after_h else None


def too_early_s(step: Step, outcome: str, minutes: float | None) -> float | None:
    """Return the time that a step was to take [s] where its end comes too soon; None where not.

    Harm and "not done" are never questioned: they are recorded at once.
    """
    due_s = timed_s(step)
    if due_s is None or due_s < EARLY_FROM_S or minutes is None:
        return None
    if outcome in HARMFUL or outcome == "not-done":
        return None
    return due_s if minutes * 60 < due_s * EARLY_SHARE else None


def is_look(step: Step) -> bool:
    """Return whether the time of a step only says when to look; else it limits an exposure."""
    return step.air is None and not step.hazardous


def put_off(step: Step, timer: Timer, now: datetime) -> datetime:
    """Return a later end of a timer: a quarter of the set time more.

    Parameters
    ----------
    step  the step that is timed
    timer its timer
    now   the present moment; the time is counted from here where it is over already

    Raises
    ------
    TriageError: the time is a limit, or the longest time of the step would be passed.
    """
    if not is_look(step):
        raise TriageError(
            "this time is a limit of exposure and cannot be made longer",
            mend="take it out when it is over, look, then record",
        )
    ends = max(timer.ends, now) + timedelta(seconds=(timed_s(step) or 0.0) * MORE_SHARE)
    most_s = step.dwell_most_s if step.dwell_s is not None else None
    if most_s is not None and ends > timer.started + timedelta(seconds=most_s):
        raise TriageError(
            f"this step allows {most_s / 60:g} min at most",
            mend="look when it is over, then record",
        )
    return ends
