"""Agents against documents, beside the figures that stand row by row in ``tests/second_entry``.

Sources: NIOSH, Documentation for IDLH concentrations, 1994; OSHA sampling pages; CCOHS records
(odour); EPA 1995 (peroxide); the glove studies of 1987 and of the thesis named below.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from triage.knowledge.agents import Agent, Authority, Basis, Circumstance, Hazard, Material
from triage.knowledge.base import Source, Status
from triage.yamltext import parse_yaml

RULES = Path(__file__).parents[2] / "rules"
AGENTS = {
    path.stem: Agent.model_validate(parse_yaml(path.read_text("utf-8"), path.name).data)
    for path in sorted((RULES / "agents").glob("*.yaml"))
}


def test_limits_struck_down_or_never_set_are_not_in_force() -> None:
    """The 1989 limits were struck down: OSHA has none for potassium hydroxide (OSHA page)."""
    koh = [x for x in AGENTS["potassium-hydroxide"].limits if x.authority == "osha"]
    assert koh, "the old figure is shown, marked as not in force"
    assert not any(x.in_force for x in koh)
    # NIOSH 1994: no REL for ethyl ether; tetrachloroethylene and p-dichlorobenzene: Ca, no number.
    for agent_id in ("diethyl-ether", "tetrachloroethylene", "paradichlorobenzene"):
        shift = [x for x in AGENTS[agent_id].limits if x.authority == "niosh" and x.basis != "idlh"]
        assert shift == []
    for agent_id in ("tetrachloroethylene", "paradichlorobenzene"):
        assert any(c.body == "NIOSH" and "Ca" in c.category for c in AGENTS[agent_id].carcinogen)


def test_skin_notations_of_osha_and_niosh() -> None:
    """NIOSH 1994: phenol and both glycol ethers carry one, naphthalene does not."""
    for agent_id in ("phenol", "ethoxyethanol-2", "butoxyethanol-2"):
        assert any(
            "OSHA and NIOSH" in s.text and "none" not in s.text for s in AGENTS[agent_id].skin
        )
        assert "skin-absorbed" in AGENTS[agent_id].hazards
    assert any("OSHA and NIOSH have none" in s.text for s in AGENTS["naphthalene"].skin)


def test_smell_is_no_guard_where_the_records_say_so() -> None:
    """CCOHS: 2-ethoxyethanol detected at 2.7 ppm; NIOSH limit 0.5. EPA 1995: peroxide odourless."""
    smell = AGENTS["ethoxyethanol-2"].physical.odour_threshold
    assert smell is not None
    assert smell.value == 2.7
    for agent_id in ("ethoxyethanol-2", "tetrachloroethylene", "hydrogen-peroxide"):
        assert "no-smell-warning" in AGENTS[agent_id].hazards


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

# 18 December 2024, 89 FR 103560; proposal of 27 March 2026, 91 FR 14790.
NOTICES = {
    ("tetrachloroethylene", "United States", "2024-12-18"),
    ("tetrachloroethylene", "United States", "2026-03-27"),
    ("ethoxyethanol-2", "European Union", "2010-12-15"),
    ("silica-gel-cobalt", "European Union", "2011-06-20"),
}


def test_legal_notices_stand_with_place_and_date() -> None:
    held = {(a.id, n.jurisdiction, n.date) for a in AGENTS.values() for n in a.notices}
    assert held >= NOTICES


def _names(agent: Agent, other: Agent) -> bool:
    return any(mix.with_ in {other.id, other.agent_class} for mix in agent.incompatible)


def test_every_mix_is_told_from_both_sides() -> None:
    agents = list(AGENTS.values())
    one_sided = [(a.id, b.id) for a in agents for b in agents if _names(a, b) and not _names(b, a)]
    assert one_sided == []


def test_glove_studies() -> None:
    """1987 abstract: tetrachloroethylene, eight nitrile gloves, 30-300 min. Thesis: 5-10 min."""
    gloves = {(a.id, g.material): g for a in AGENTS.values() for g in a.gloves}
    assert gloves["tetrachloroethylene", "nitrile-thick"].minutes == "30-300"
    assert gloves["tetrachloroethylene", "nitrile-thick"].verdict != "holds"
    assert gloves["butoxyethanol-2", "nitrile-thin"].minutes == "5-10"
    assert gloves["butoxyethanol-2", "nitrile-thin"].verdict == "fails"


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


KINDS = {
    "authorities.yaml": Authority,
    "hazards.yaml": Hazard,
    "circumstances.yaml": Circumstance,
    "materials.yaml": Material,
    "sources/exposure.yaml": Source,
}


def _ids(name: str) -> set[str]:
    entries = parse_yaml((RULES / name).read_text("utf-8"), name).data
    return {KINDS[name].model_validate(entry).id for entry in entries}


def test_everything_that_agents_name_exists() -> None:
    agents = AGENTS.values()
    classes = {a.agent_class for a in agents}
    assert {x.authority for a in agents for x in a.limits} <= _ids("authorities.yaml")
    assert {h for a in agents for h in a.hazards} <= _ids("hazards.yaml")
    assert {c for a in agents for c in a.not_for} <= _ids("circumstances.yaml")
    materials = _ids("materials.yaml")
    assert {x.material for a in agents for x in a.attacks} <= materials
    assert {g.material for a in agents for g in a.gloves} <= materials
    assert {m.with_ for a in agents for m in a.incompatible} <= classes | set(AGENTS)
    assert len(_ids("sources/exposure.yaml")) >= 30
