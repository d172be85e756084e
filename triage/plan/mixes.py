"""What must not meet: in one vessel, and over the day in one room."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from triage.knowledge.agents import Agent, Mix
from triage.knowledge.base import Status
from triage.knowledge.book import Knowledge
from triage.plan.model import CautionLine

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
