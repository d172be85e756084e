"""The hidden test spot: a step that borrows liquid and protection of the step it stands before."""

from __future__ import annotations

from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method, Strength


def as_done(knowledge: Knowledge, method_id: str, before: str | None) -> Method:
    """Return a method as it is done: a trial with the liquid that it tries, others as they are.

    Parameters
    ----------
    before the method that the step stands before, None if it stands for itself

    Notes
    -----
    The same bottle is opened and the same gloves are worn, so the grade of hazard to the person
    is that of the step which is tried; what is done to the specimen is the trial's own.
    """
    method = knowledge.methods[method_id]
    tried = knowledge.methods.get(before or "")
    if tried is None or not method.tries_next:
        return method
    return method.model_copy(
        update={
            # A name of its own: what is kept of one trial's air must not serve another's.
            "id": f"{method.id} of {tried.id}",
            "agent": tried.agent,
            "with_": tried.with_,
            "strength": tried.strength,
            "temp_c": tried.temp_c,
            "rinse": (*method.rinse, *tried.rinse),
            "keep_away": tuple(dict.fromkeys((*method.keep_away, *tried.keep_away))),
            "not_for": tried.not_for,
            "needs": tuple(dict.fromkeys((*method.needs, *tried.needs))),
            "harshness": method.harshness.model_copy(update={"person": tried.harshness.person}),
        }
    )


def cautioned_as(knowledge: Knowledge, method_id: str, before: str | None) -> frozenset[str]:
    """Return the methods whose cautions hold for a step: a trial shares those of what it tries."""
    if before is None or not knowledge.methods[method_id].tries_next:
        return frozenset({method_id})
    return frozenset({method_id, before})


def strength_text(agent: Agent, strength: Strength | None) -> str:
    """Return an agent with its working strength, in words."""
    if strength is None or strength.unit == "as-is":
        return f"{agent.name}, as it is"
    return f"{agent.name} {strength.value:g} {strength.unit}"


def liquid_text(knowledge: Knowledge, method: Method) -> str:
    """Return what the liquid of a method consists of, in words; empty if it has none."""
    if method.agent is None:
        return ""
    parts = [strength_text(knowledge.agents[method.agent], method.strength)]
    for part in method.with_:
        agent = knowledge.agents[part.agent]
        parts.append(strength_text(agent, part.strength) if part.strength else f"in {agent.name}")
    return ", ".join(parts)


def lines_to_do(knowledge: Knowledge, method: Method, zone: str | None) -> tuple[str, ...]:
    """Return what to do; a trial begins with its liquid and the hidden spot of the zone."""
    if not method.tries_next:
        return tuple(method.do)
    liquid, place = liquid_text(knowledge, method), knowledge.zones.get(zone or "")
    named = [f"Liquid that is tried: {liquid}."] if liquid else []
    named += [f"Hidden spot: {place.test_spot}."] if place else []
    return (*named, *method.do)
