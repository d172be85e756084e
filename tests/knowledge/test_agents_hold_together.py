"""What an agent's file says of it agrees with itself: the rules against the rules, no document."""

from __future__ import annotations

import pytest

from tests.support.knowledge import shipped
from triage.knowledge.agents import Agent, Basis
from triage.knowledge.base import Status

AGENTS = shipped().agents


@pytest.mark.parametrize("agent", AGENTS.values(), ids=AGENTS)
def test_smell_warning_flag_follows_the_numbers(agent: Agent) -> None:
    """Smelled only above the lowest shift limit in ppm: the nose is no guard, and that is said."""
    smell = agent.physical.odour_threshold
    shift = [
        x.value
        for x in agent.limits
        if x.in_force and x.unit == "ppm" and x.basis in {Basis.TWA, Basis.CEILING}
    ]
    if smell is None or smell.value is None or not shift or agent.id in ODOUR_EXCEPTIONS:
        return
    assert ("no-smell-warning" in agent.hazards) == (smell.value > min(shift))


# The number is above the limit at one strength only, or two reports straddle it.
ODOUR_EXCEPTIONS = {
    "hydrochloric-acid-dilute": "reports of 0.3 to 10 ppm straddle the 1 to 5 ppm limits; it stings",
}


def _names(agent: Agent, other: Agent) -> bool:
    return any(mix.with_ in {other.id, other.agent_class} for mix in agent.incompatible)


def test_every_mix_is_told_from_both_sides() -> None:
    agents = list(AGENTS.values())
    one_sided = [(a.id, b.id) for a in agents for b in agents if _names(a, b) and not _names(b, a)]
    assert one_sided == []


def test_reprotoxic_agents_are_not_for_pregnancy() -> None:
    for agent in AGENTS.values():
        codes = {h.code[:4] for h in agent.h_statements}
        if codes & {"H360", "H361"} or "carcinogen-suspected" in agent.hazards:
            assert "pregnancy" in agent.not_for, agent.id
        if "H334" in codes:
            assert "asthma" in agent.not_for, agent.id
        if "H304" in codes:
            assert "aspiration" in agent.hazards, agent.id


@pytest.mark.parametrize("agent", AGENTS.values(), ids=AGENTS)
def test_agent_is_complete(agent: Agent) -> None:
    assert agent.gloves
    assert agent.disposal
    assert agent.first_aid or agent.id == "water-distilled"
    assert agent.limits or agent.no_limit_because
    known = agent.physical.vapour_pressure or agent.vapour_share
    unused = agent.never or agent.status is Status.DRAFT or agent.id == "camphor"
    assert known or unused, "no way to judge its air"
    shown = [(x.authority, x.basis, x.unit) for x in agent.limits if x.in_force]
    assert len(shown) == len(set(shown)), "one figure in force for each authority and basis"
    assert len({g.material for g in agent.gloves}) == len(agent.gloves)
    if agent.status is Status.CHECKED and not agent.never:
        read = [x for x in agent.limits if x.source != "from-memory"]
        assert read or agent.no_limit_because, "checked, yet every limit is from memory"
