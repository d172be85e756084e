"""Agents against published limits, typed again from the documents, not from the agent files.

Sources: NIOSH, Documentation for IDLH concentrations, 1994 (each page states the REL, the OSHA
PEL and the 1993-94 TLV); NIOSH Pocket Guide (ethyl alcohol); OSHA sampling pages (tetrachloro-
ethylene, toluene, acetone, Stoddard solvent, cyclohexane, hydrogen peroxide, potassium
hydroxide, hydrogen chloride); 40 CFR 751.603 (tetrachloroethylene); CCOHS records (odour); AIHA
2025 (hydrogen chloride); Directive 2004/37/EC Annex III and Directive 91/322/EEC Annex; German
accident insurers' data sheet (2-ethoxyethanol); OSHA annotated Tables Z-1 and Z-2 of 2018 (TLV
and Cal/OSHA columns); EH40/2005 Table 1; Annex of Directive 2009/161/EU; Annex XXXVIII of the
Italian decree 81/2008 and article R4412-149 of the French Labour Code, which put the EU values
into national law.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from triage.knowledge.agents import Agent, Authority, Basis, Circumstance, Hazard, Limit, Material
from triage.knowledge.base import Source, Status
from triage.yamltext import parse_yaml

RULES = Path(__file__).parents[2] / "rules"
AGENTS = {
    path.stem: Agent.model_validate(parse_yaml(path.read_text("utf-8"), path.name).data)
    for path in sorted((RULES / "agents").glob("*.yaml"))
}
IDLH_1994, POCKET, OSHA_PAGE = "niosh-idlh-1994", "niosh-pocket-guide", "osha-chemical-data"

# agent, authority, basis, value, unit, minutes: as printed
PRINTED = """
ethanol                 osha  twa     1000   ppm   480
ethanol                 niosh twa     1000   ppm   480
ethanol                 niosh idlh    3300   ppm   0
isopropanol             osha  twa     400    ppm   480
isopropanol             niosh twa     400    ppm   480
isopropanol             niosh stel    500    ppm   15
ammonia-solution        osha  twa     50     ppm   480
ammonia-solution        niosh twa     25     ppm   480
ammonia-solution        niosh stel    35     ppm   15
hydrochloric-acid-dilute osha ceiling 5      ppm   0
hydrochloric-acid-dilute niosh ceiling 5     ppm   0
hydrochloric-acid-dilute niosh idlh   45     ppm   0
phenol                  osha  twa     5      ppm   480
phenol                  niosh twa     5      ppm   480
phenol                  niosh ceiling 15.6   ppm   15
tetrachloroethylene     epa   twa     0.14   ppm   480
tetrachloroethylene     epa   action  0.10   ppm   480
tetrachloroethylene     osha  twa     100    ppm   480
tetrachloroethylene     osha  ceiling 200    ppm   0
tetrachloroethylene     osha  peak    300    ppm   5
ethoxyethanol-2         osha  twa     200    ppm   480
ethoxyethanol-2         niosh twa     0.5    ppm   480
ethoxyethanol-2         niosh idlh    500    ppm   0
butoxyethanol-2         osha  twa     50     ppm   480
butoxyethanol-2         niosh twa     5      ppm   480
butoxyethanol-2         niosh idlh    700    ppm   0
butoxyethanol-2         eu-ioelv twa  20     ppm   480
butoxyethanol-2         eu-ioelv stel 50     ppm   15
heptane                 osha  twa     500    ppm   480
heptane                 niosh twa     85     ppm   480
heptane                 niosh ceiling 440    ppm   15
heptane                 niosh idlh    750    ppm   0
naphtha-dearomatised    osha  twa     500    ppm   480
naphtha-dearomatised    niosh twa     350    mg/m3 480
naphtha-dearomatised    niosh ceiling 1800   mg/m3 15
white-spirit            osha  twa     500    ppm   480
white-spirit            niosh twa     350    mg/m3 480
white-spirit            niosh ceiling 1800   mg/m3 15
white-spirit            niosh idlh    20000  mg/m3 0
ethyl-acetate           osha  twa     400    ppm   480
ethyl-acetate           niosh twa     400    ppm   480
ethyl-acetate           niosh idlh    2000   ppm   0
acetone                 osha  twa     1000   ppm   480
acetone                 niosh twa     250    ppm   480
acetone                 niosh idlh    2500   ppm   0
toluene                 osha  twa     200    ppm   480
toluene                 osha  ceiling 300    ppm   0
toluene                 osha  peak    500    ppm   10
toluene                 niosh twa     100    ppm   480
toluene                 niosh stel    150    ppm   15
toluene                 niosh idlh    500    ppm   0
cyclohexane             osha  twa     300    ppm   480
cyclohexane             niosh twa     300    ppm   480
cyclohexane             niosh idlh    1300   ppm   0
diethyl-ether           osha  twa     400    ppm   480
diethyl-ether           niosh idlh    1900   ppm   0
potassium-hydroxide     niosh ceiling 2      mg/m3 0
hydrogen-peroxide       osha  twa     1      ppm   480
hydrogen-peroxide       niosh twa     1      ppm   480
hydrogen-peroxide       niosh idlh    75     ppm   0
paradichlorobenzene     osha  twa     75     ppm   480
paradichlorobenzene     niosh idlh    150    ppm   0
naphthalene             osha  twa     10     ppm   480
naphthalene             niosh twa     10     ppm   480
naphthalene             niosh stel    15     ppm   15
naphthalene             niosh idlh    250    ppm   0
acetic-acid             osha  twa     10     ppm   480
acetic-acid             niosh twa     10     ppm   480
acetic-acid             niosh stel    15     ppm   15
dpg-methyl-ether        osha  twa     100    ppm   480
dpg-methyl-ether        niosh twa     100    ppm   480
dpg-methyl-ether        niosh stel    150    ppm   15
dpg-methyl-ether        niosh idlh    600    ppm   0
dpg-methyl-ether        eu-ioelv twa  50     ppm   480
amyl-acetate            osha  twa     100    ppm   480
amyl-acetate            niosh twa     100    ppm   480
amyl-acetate            niosh idlh    1000   ppm   0
camphor                 osha  twa     2      mg/m3 480
camphor                 niosh twa     2      mg/m3 480
silica-gel              niosh twa     6      mg/m3 480
silica-gel              niosh idlh    3000   mg/m3 0
silica-gel-cobalt       osha  twa     0.1    mg/m3 480
silica-gel-cobalt       niosh twa     0.05   mg/m3 480
silica-gel-cobalt       niosh idlh    20     mg/m3 0
benzene                 osha  twa     1      ppm   480
benzene                 osha  stel    5      ppm   15
benzene                 niosh twa     0.1    ppm   480
benzene                 niosh idlh    500    ppm   0
benzene                 eu-cmd twa    0.2    ppm   480
carbon-tetrachloride    osha  twa     10     ppm   480
carbon-tetrachloride    osha  peak    200    ppm   5
carbon-tetrachloride    niosh stel    2      ppm   60
trichloroethylene       osha  twa     100    ppm   480
trichloroethylene       osha  ceiling 200    ppm   0
trichloroethylene       niosh twa     25     ppm   480
trichloroethylene       eu-cmd twa    10     ppm   480
trichloroethylene       eu-cmd stel   30     ppm   15
naphthalene             eu-ioelv twa  10     ppm   480
hydrochloric-acid-dilute acgih ceiling 2     ppm   0
ethoxyethanol-2         de-agw twa    2      ppm   480
hypochlorite            niosh idlh    10     ppm   0
hypochlorite            osha  ceiling 1      ppm   0
hypochlorite            niosh ceiling 0.5    ppm   15
acetic-acid             niosh idlh    50     ppm   0
acetic-acid             acgih twa     10     ppm   480
acetic-acid             acgih stel    15     ppm   15
acetone                 acgih twa     250    ppm   480
acetone                 acgih stel    500    ppm   15
ammonia-solution        acgih twa     25     ppm   480
ammonia-solution        acgih stel    35     ppm   15
amyl-acetate            acgih twa     50     ppm   480
amyl-acetate            acgih stel    100    ppm   15
butoxyethanol-2         acgih twa     20     ppm   480
diethyl-ether           acgih twa     400    ppm   480
diethyl-ether           acgih stel    500    ppm   15
ethanol                 acgih stel    1000   ppm   15
ethoxyethanol-2         acgih twa     5      ppm   480
heptane                 acgih twa     400    ppm   480
heptane                 acgih stel    500    ppm   15
hypochlorite            acgih twa     0.1    ppm   480
hypochlorite            acgih stel    0.4    ppm   15
isopropanol             acgih twa     200    ppm   480
isopropanol             acgih stel    400    ppm   15
naphthalene             acgih twa     10     ppm   480
naphthalene             acgih stel    15     ppm   15
phenol                  acgih twa     5      ppm   480
toluene                 acgih twa     20     ppm   480
hydrochloric-acid-dilute cal-osha twa 0.3    ppm   480
hydrochloric-acid-dilute cal-osha ceiling 2  ppm   0
naphthalene             cal-osha twa  0.1    ppm   480
toluene                 cal-osha twa  10     ppm   480
toluene                 cal-osha stel 150    ppm   15
tetrachloroethylene     niosh idlh    150    ppm   0
protease-neutral        niosh stel    0.00006 mg/m3 60
ammonia-solution        france twa    10     ppm   480
ammonia-solution        france stel   20     ppm   15
acetic-acid             eu-ioelv twa  10     ppm   480
acetic-acid             eu-ioelv stel 20     ppm   15
acetone                 eu-ioelv twa  500    ppm   480
ammonia-solution        eu-ioelv twa  20     ppm   480
ammonia-solution        eu-ioelv stel 50     ppm   15
amyl-acetate            eu-ioelv twa  50     ppm   480
amyl-acetate            eu-ioelv stel 100    ppm   15
carbon-tetrachloride    eu-ioelv twa  1      ppm   480
carbon-tetrachloride    eu-ioelv stel 5      ppm   15
cyclohexane             eu-ioelv twa  200    ppm   480
diethyl-ether           eu-ioelv twa  100    ppm   480
diethyl-ether           eu-ioelv stel 200    ppm   15
ethoxyethanol-2         eu-ioelv twa  2      ppm   480
ethyl-acetate           eu-ioelv twa  200    ppm   480
ethyl-acetate           eu-ioelv stel 400    ppm   15
heptane                 eu-ioelv twa  500    ppm   480
hydrochloric-acid-dilute eu-ioelv twa 5      ppm   480
hydrochloric-acid-dilute eu-ioelv stel 10    ppm   15
hypochlorite            eu-ioelv stel 0.5    ppm   15
paradichlorobenzene     eu-ioelv twa  2      ppm   480
paradichlorobenzene     eu-ioelv stel 10     ppm   15
phenol                  eu-ioelv twa  2      ppm   480
phenol                  eu-ioelv stel 4      ppm   15
tetrachloroethylene     eu-ioelv twa  20     ppm   480
tetrachloroethylene     eu-ioelv stel 40     ppm   15
toluene                 eu-ioelv twa  50     ppm   480
toluene                 eu-ioelv stel 100    ppm   15
acetic-acid             uk-hse twa    10     ppm   480
acetic-acid             uk-hse stel   20     ppm   15
acetone                 uk-hse twa    500    ppm   480
acetone                 uk-hse stel   1500   ppm   15
ammonia-solution        uk-hse twa    25     ppm   480
ammonia-solution        uk-hse stel   35     ppm   15
amyl-acetate            uk-hse twa    50     ppm   480
amyl-acetate            uk-hse stel   100    ppm   15
butoxyethanol-2         uk-hse twa    25     ppm   480
butoxyethanol-2         uk-hse stel   50     ppm   15
cyclohexane             uk-hse twa    100    ppm   480
cyclohexane             uk-hse stel   300    ppm   15
diethyl-ether           uk-hse twa    100    ppm   480
diethyl-ether           uk-hse stel   200    ppm   15
dpg-methyl-ether        uk-hse twa    50     ppm   480
ethanol                 uk-hse twa    1000   ppm   480
ethoxyethanol-2         uk-hse twa    2      ppm   480
ethyl-acetate           uk-hse twa    200    ppm   480
ethyl-acetate           uk-hse stel   400    ppm   15
heptane                 uk-hse twa    500    ppm   480
hydrochloric-acid-dilute uk-hse twa   1      ppm   480
hydrochloric-acid-dilute uk-hse stel  5      ppm   15
hydrogen-peroxide       uk-hse twa    1      ppm   480
hydrogen-peroxide       uk-hse stel   2      ppm   15
hypochlorite            uk-hse stel   0.5    ppm   15
isopropanol             uk-hse twa    400    ppm   480
isopropanol             uk-hse stel   500    ppm   15
paradichlorobenzene     uk-hse twa    2      ppm   480
paradichlorobenzene     uk-hse stel   10     ppm   15
phenol                  uk-hse twa    2      ppm   480
phenol                  uk-hse stel   4      ppm   15
potassium-hydroxide     uk-hse stel   2      mg/m3 15
propylene-glycol        uk-hse twa    150    ppm   480
protease-neutral        uk-hse twa    0.00004 mg/m3 480
silica-gel              uk-hse twa    2.4    mg/m3 480
silica-gel-cobalt       uk-hse twa    0.1    mg/m3 480
tetrachloroethylene     uk-hse twa    20     ppm   480
tetrachloroethylene     uk-hse stel   40     ppm   15
toluene                 uk-hse twa    50     ppm   480
toluene                 uk-hse stel   100    ppm   15
"""
ROWS = [line.split() for line in PRINTED.split("\n") if line]


def _limits(agent_id: str, authority: str, basis: str) -> list[Limit]:
    return [
        x
        for x in AGENTS[agent_id].limits
        if x.authority == authority and x.basis == basis and x.in_force
    ]


@pytest.mark.parametrize("row", ROWS, ids=["-".join(row[:3]) for row in ROWS])
def test_printed_limit_is_the_one_held(row: list[str]) -> None:
    agent_id, authority, basis, printed, unit, minutes = row
    (held,) = _limits(agent_id, authority, basis)
    assert (held.value, held.unit) == (float(printed), unit)
    assert held.averaging_min == float(minutes)
    assert held.source != "from-memory", "this number was read in a document"


# Where the page prints both units, they must agree with the molar mass held: 24.45 L/mol is the
# conversion of 29 CFR 1910.1000, footnote to Table Z-1. Printed figures are rounded to 2 digits.
PRINTED_PAIRS = {
    "ethanol": (1000, 1900),
    "isopropanol": (400, 980),
    "ammonia-solution": (50, 35),
    "phenol": (5, 19),
    "ethoxyethanol-2": (200, 740),
    "butoxyethanol-2": (50, 240),
    "heptane": (85, 350),
    "ethyl-acetate": (400, 1400),
    "acetone": (1000, 2400),
    "toluene": (100, 375),
    "cyclohexane": (300, 1050),
    "diethyl-ether": (400, 1200),
    "hydrogen-peroxide": (1, 1.4),
    "paradichlorobenzene": (75, 450),
    "naphthalene": (10, 50),
    "hypochlorite": (1, 3),
    "white-spirit": (100, 525),
    "acetic-acid": (10, 25),
    "dpg-methyl-ether": (50, 308),
    "amyl-acetate": (100, 525),
    "carbon-tetrachloride": (2, 12.6),
    "trichloroethylene": (10, 54.7),
    "benzene": (0.2, 0.66),
}


@pytest.mark.parametrize("agent_id", PRINTED_PAIRS)
def test_molar_mass_joins_the_printed_units(agent_id: str) -> None:
    ppm, mg_per_m3 = PRINTED_PAIRS[agent_id]
    mass = AGENTS[agent_id].physical.molar_mass
    assert mass is not None
    assert mass.value is not None
    # Stoddard solvent: 525 mg/m3 was worked out with 128 to 130 g/mol, NIOSH assumes 144.
    allowed = 0.13 if agent_id == "white-spirit" else 0.06
    assert ppm * mass.value / 24.45 == pytest.approx(mg_per_m3, rel=allowed)


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


# Mixes of the health department text, the CDC note and the card of the trichloro compound.
FORBIDDEN_MIXES = [
    ("hypochlorite", "ammonia-solution"),
    ("hypochlorite", "acetic-acid"),
    ("hypochlorite", "hydrochloric-acid-dilute"),
    ("hypochlorite", "hydrogen-peroxide"),
    ("tetrachloroethylene", "potassium-hydroxide"),
    ("trichloroethylene", "potassium-hydroxide"),
    ("hydrogen-peroxide", "ethanol"),
]


def _names(agent: Agent, other: Agent) -> bool:
    return any(mix.with_ in {other.id, other.agent_class} for mix in agent.incompatible)


@pytest.mark.parametrize(("one", "other"), FORBIDDEN_MIXES)
def test_forbidden_mix_is_known(one: str, other: str) -> None:
    assert _names(AGENTS[one], AGENTS[other])


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


NEVER = {
    "diethyl-ether",
    "benzene",
    "carbon-tetrachloride",
    "hypochlorite",
    "trichloroethylene",
    "1-bromopropane",
}


def test_agents_listed_only_to_be_refused() -> None:
    assert {a.id for a in AGENTS.values() if a.never} == NEVER


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
