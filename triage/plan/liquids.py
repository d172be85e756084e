"""The liquid of a step: what a trial borrows, what it must not meet, how selective it is."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence

from triage.case.profile import Bench
from triage.knowledge.agents import Agent, Hansen, Material, Mix
from triage.knowledge.base import Status
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method, Strength
from triage.plan.model import CautionLine, Selectivity


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


# Agent and where it was or will be used, in words.
Used = tuple[str, str]


def never_mix(knowledge: Knowledge, agent: Agent) -> list[CautionLine]:
    """Return the mixes to avoid, one line for all partners with the same product."""
    if not agent.hazards:
        return []  # what harms nobody is warned of where its partner is opened
    partners: dict[tuple[str, str], list[str]] = {}
    for mix in agent.incompatible:
        other = knowledge.agents.get(mix.with_)
        if other is not None and other.status is Status.DRAFT:
            continue  # no method may use a draft, so it is on no bench of this tool
        names = [other.name] if other else _members(knowledge, mix.with_)
        partners.setdefault((mix.product, mix.source), []).extend(names)
    return [
        CautionLine(
            "mixing",
            f"Never mix {agent.name} with {' or '.join(dict.fromkeys(names))}: {product}.",
            f"agent:{agent.id}",
            source,
        )
        for (product, source), names in partners.items()
    ]


def _members(knowledge: Knowledge, agent_class: str) -> list[str]:
    return [
        a.name
        for a in knowledge.agents.values()
        if a.agent_class == agent_class and a.status is not Status.DRAFT
    ]


def clash(one: Agent, other: Agent) -> Mix | None:
    """Return the mix of two agents that must not be made, whichever of them names it."""
    for agent, partner in ((one, other), (other, one)):
        for mix in agent.incompatible:
            if mix.with_ in (partner.id, partner.agent_class):
                return mix
    return None


def not_beside(
    knowledge: Knowledge, agents: Sequence[Agent], today: Iterable[Used], planned: Iterable[Used]
) -> Iterator[CautionLine]:
    """Yield what an agent of a step must not meet: what was used today, and in other steps.

    Parameters
    ----------
    today   agents used in the room in the last 24 hours, and in which case
    planned agents of the other steps of the plan, and in which step
    """
    for agent in agents:
        for found, begins in ((today, "Used in this room today"), (planned, "Also in this plan")):
            told: dict[str, list[str]] = {}
            for other_id, where in found:
                if other_id in knowledge.agents and other_id != agent.id:
                    told.setdefault(other_id, []).append(where)
            for other_id, places in told.items():
                other = knowledge.agents[other_id]
                mix = clash(agent, other)
                if mix is not None:
                    where = ", ".join(dict.fromkeys(places))
                    text = (
                        f"{begins}: {other.name} ({where}). It must not meet {agent.name}: "
                        f"{mix.product}. Rinse, take bottle, swabs and rests of the one away and "
                        "air the room before the other is opened."
                    )
                    yield CautionLine("mixing", text, f"agent:{agent.id}", mix.source)


RANK = {"measured": 0, "stand-in": 1, "weak": 2}
WORDS = {0: "measured", 1: "stand-in", 2: "weak"}


def hansen_distance(one: Hansen, other: Hansen) -> float:
    """Return Ra [MPa^0.5], how unlike two substances are in what holds them together.

    Notes: Ra^2 = 4 dD^2 + dP^2 + dH^2; the 4 belongs to the dispersion part. Divided by the radius
    of a deposit it is RED; it says nothing of speed, and does not hold for crystals, ionic dirt,
    water-rich blends or reactions.
    Source: Hansen, Solubility Parameters: A User's Handbook, 2nd ed. 2007, chapter 1.
    """
    return math.hypot(2.0 * (one.d - other.d), one.p - other.p, one.h - other.h)


def _line(agent: Hansen, target: Hansen, name: str, role: str) -> Selectivity:
    known = WORDS[max(RANK[agent.known], RANK[target.known])]
    distance = hansen_distance(agent, target)
    # A weakly known radius gives no verdict: it must never look like a reason to use a solvent.
    red = round(distance / target.r0, 2) if target.r0 is not None and known != "weak" else None
    return Selectivity(name, role, round(distance, 2), red, known)  # type: ignore[arg-type]


def selectivity_of(
    knowledge: Knowledge, bench: Bench, method: Method, deposit: str | None
) -> tuple[Selectivity, ...]:
    """Return the distances of a method's main agent: deposit first, then what must survive.

    Shown as information with how well the parameters are known; it never opens a method.
    """
    agent = knowledge.agents[method.agent].hansen if method.agent else None
    if agent is None:
        return ()
    lines = []
    entry = knowledge.deposits.get(deposit or "")
    if entry is not None and entry.hansen is not None:
        lines.append(_line(agent, entry.hansen, entry.name, "deposit"))
    for material in knowledge.materials.values():
        role = _role(material, bench)
        if role and material.hansen is not None:
            lines.append(_line(agent, material.hansen, material.name, role))
    return tuple(lines)


def _role(material: Material, bench: Bench) -> str:
    if material.role == "on-specimen":
        return "on-specimen"
    if material.role in ("support", "box") and (
        material.id in bench.supports or not bench.supports
    ):
        return material.role
    return ""
