"""What an agent's file says of it agrees with itself: the rules against the rules, no document."""

from __future__ import annotations

import pytest

from tests.second_entry.tables import MEANS, rows
from tests.support.knowledge import shipped
from triage.knowledge.agents import Agent, Basis
from triage.knowledge.base import Status
from triage.knowledge.book import Knowledge

EACH = pytest.mark.parametrize("name", shipped().agents)


@EACH
def test_smell_warning_flag_follows_the_numbers(name: str, knowledge: Knowledge) -> None:
    """Smelled only above the lowest shift limit in ppm: the nose is no guard, and that is said."""
    agent = knowledge.agents[name]
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


def test_every_mix_is_told_from_both_sides(knowledge: Knowledge) -> None:
    agents = list(knowledge.agents.values())
    one_sided = [(a.id, b.id) for a in agents for b in agents if _names(a, b) and not _names(b, a)]
    assert one_sided == []


# (agent, hazard): what is told of it there holds only for a stronger solution than is used here, or
# the hazard is told by a graver one.
WEAKER = {
    ("chlorocresol", "irritant"),
    ("detergent-neutral", "environment"),
    ("hexamethyldisilazane", "corrosive"),
    ("tetrachloroethylene", "sensitiser-skin"),
    ("trisodium-phosphate", "corrosive"),
    *((row["agent"], "corrosive") for row in rows("hazards") if "H314" in row.get("stronger", ())),
}


@EACH
def test_what_a_hazard_statement_means_is_warned_of(name: str, knowledge: Knowledge) -> None:
    """Regulation (EC) 1272/2008, annex III, gives each code its words."""
    agent = knowledge.agents[name]
    codes = {h.code for h in agent.h_statements}
    told = {hazard for hazard, means in MEANS.items() if codes & set(means.split())}
    if not agent.never:
        assert told - {*agent.hazards} <= {h for a, h in WEAKER if a == name}
    if {code[:4] for code in codes} & {"H360", "H361"} or "carcinogen-suspected" in agent.hazards:
        assert "pregnancy" in agent.not_for
    if "H334" in codes:
        assert "asthma" in agent.not_for


# What hurts the skin or goes through it is not for bare hands; whom the annexes of 92/85/EEC (at
# work while pregnant) and 94/33/EC (young people at work) keep from it.
KEPT_FROM = {
    "skin-absorbed": {"no-gloves"},
    "corrosive": {"no-gloves"},
    "sensitiser-skin": {"no-gloves", "skin-allergy"},
    "sensitiser-breathing": {"asthma"},
    "reprotoxic": {"pregnancy"},
    "carcinogen-suspected": {"pregnancy", "children-or-pets"},
}


@EACH
def test_whom_a_hazard_threatens_most_is_kept_from_it(name: str, knowledge: Knowledge) -> None:
    agent = knowledge.agents[name]
    kept = {c for hazard in agent.hazards for c in KEPT_FROM.get(hazard, ())}
    assert agent.never or kept <= {*agent.not_for}


@EACH
def test_agent_is_complete(name: str, knowledge: Knowledge) -> None:
    agent = knowledge.agents[name]
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
