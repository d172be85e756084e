"""The air of a planned step as a question, so that a curve can be drawn and asked on."""

from __future__ import annotations

from triage.case.profile import Bench
from triage.exposure.day import DayLedger
from triage.knowledge.book import Knowledge
from triage.plan.airjudge import AirJudge
from triage.plan.inputs import AirQuestion
from triage.plan.model import Plan, Step
from triage.plan.substances import PERCENT, open_fraction, release_min_of
from triage.plan.trial import as_done

USUAL_ML = 1.0


def airy_step(plan: Plan) -> Step | None:
    """Return the next hazardous step that gives off vapour, else the next that does at all.

    A test spot gives way to the step that it tries, which gives off far more of the same.
    """
    airy = [
        s
        for s in plan.steps
        if s.air is not None and s.air.peak_mg_per_m3 > 0 and s.agent and s.before is None
    ]
    return next((s for s in airy if s.hazardous), airy[0] if airy else None)


def question_of_step(knowledge: Knowledge, step: Step) -> AirQuestion | None:
    """Return the question that a step's air answers; None if it gives off nothing."""
    method = as_done(knowledge, step.method, step.before)
    if step.agent is None or step.amount_ml is None or method.amount is None:
        return None
    return AirQuestion(
        step.agent,
        step.amount_ml,
        minutes=release_min_of(knowledge, method),
        strength_percent=open_fraction(method) * PERCENT,
    )


def question_of_agent(knowledge: Knowledge, agent: str) -> AirQuestion:
    """Return a question about an agent as its mildest method uses it, else about 1 mL of it."""
    for method in knowledge.methods.values():
        if method.agent == agent and method.amount is not None:
            percent = open_fraction(method) * PERCENT
            return AirQuestion(agent, method.amount.typical_ml, strength_percent=percent)
    return AirQuestion(agent, USUAL_ML)


def vapour_agents(knowledge: Knowledge, bench: Bench) -> tuple[str, ...]:
    """Return the agents whose vapour has a limit, those of the bench's stock first, by name."""
    judge = AirJudge(knowledge, bench, DayLedger())
    judged = [
        agent
        for agent in knowledge.agents
        if judge.substance(agent).airborne != "none" and judge.substance(agent).limits
    ]
    usable = [agent for agent in judged if not knowledge.agents[agent].never]
    key = lambda a: (not bench.has_stock(a), knowledge.agents[a].name)
    return tuple(sorted(usable, key=key))
