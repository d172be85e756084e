"""Ultrasonic bursts: what is left of the few that one specimen may be given."""

from __future__ import annotations

from triage.bench.bursts import burst_budget, require_burst
from triage.errors import OutOfRange
from triage.plan.answers import Answer, Figure, Means, answered, dose, dose_note
from triage.plan.inputs import BurstQuestion


def answer(means: Means, asked: BurstQuestion) -> Answer:
    """Return what is left of the bursts; a next one is refused if it is too long or none is left.

    Raises
    ------
    OutOfRange: a burst that is too long, or more than the budget.
    """
    knowledge = means.knowledge
    one, most = dose(knowledge, "ultrasonic-burst"), dose(knowledge, "ultrasonic-most-bursts")
    budget = knowledge.judgement.burst_budget_s
    count = int(most.most)
    found = burst_budget(asked.done, one.most, count)
    if asked.next_s is not None:
        found = require_burst(asked.next_s, asked.done, one.most, count)
    if found.used_s > budget.value:
        raise OutOfRange(
            f"{found.used_s:g} s of bursts is above the budget of {budget.value:g} s",
            mend="stop here and look for damage",
        )
    left_s = min(budget.value - found.used_s, found.bursts_left * one.most)
    return answered(
        knowledge,
        found.sentence,
        (
            Figure("bursts left", found.bursts_left),
            Figure("used", found.used_s, "s"),
            Figure("left in all", left_s, "s", budget.because, budget.source),
            Figure("longest next burst", min(found.longest_next_s, left_s), "s"),
            Figure("one burst, most", one.most, "s", dose_note(one), one.source),
            Figure("most bursts", count, "", dose_note(most), most.source),
        ),
        cautions=("Look after every burst; stop at the first loss of scales, legs or hairs.",),
        assumptions=("No formula gives a safe dwell; a burst that was cut short counts as one.",),
    )
