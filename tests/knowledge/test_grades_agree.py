"""Grades and hazards agree with each other: the rules against the rules, no document.

How hard a specimen is handled lies in the technique, what a liquid does to insect and person in the
liquid and in how it meets them. Where a method is graded otherwise than its like it stands here, with
what is different about it; a grade that slipped stands out.
"""

from __future__ import annotations

from collections import defaultdict
from itertools import pairwise, permutations
from statistics import mode

import pytest

from tests.second_entry.tables import MEANS, rows
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge

OTHERWISE = {
    "mechanical": {
        "wash-detergent-shake",  # shaken, not swished
        "acetone-dip",  # what comes out is brittle
        "dip-ammonia-surfactant",  # lifted out soft
        "protease-dab",  # the dabs are wiped off
        "acid-dab-lime",
        "water-soak-small-wasps",  # it floats, nothing is moved
        "change-alcohol",  # poured off, not left to stand
        "dry-hair-moving-air",  # brushed while it dries
        "dry-out-acetone",  # blown dry
    },
    "chemical": {
        # Warmth, damp glue, a liquid to be tried, water that leaves too fast.
        *("blot-warm", "glue-at-pin", "reglue-part", "test-spot", "dry-out-blotted", "dry-on-pads"),
        # Stronger or longer than its like, hot, or for good.
        *("ethanol-90-brush", "keep-wet-ethanol", "keep-wet-ethanol-95", "change-alcohol"),
        *("set-dry-alcohol-ladder", "warm-water-glue", "warm-water-soak-beetle"),
        *("water-soak-small-wasps", "wash-detergent-shake", "eye-soak-warm-surfactant"),
        *("steam-short",),
        # Shorter, smaller or milder.
        *("degrease-jar-acetone-hour", "degrease-local-acetone", "keep-dry-box"),
        *("chamber-water-short", "chamber-water-thymol"),
    },
    "person": {
        # Vapour, poison or points where there is no liquid; hot water and steam.
        *("air-out", "refer-poison", "pick-at-pin", "draw-pin", "replace-pin"),
        *("dry-out-blotted", "dry-on-pads", "warm-water-soak-beetle", "steam-short"),
        # What else is in the liquid, how long it stands open, the noise of the bath.
        *("pick-under-alcohol", "rinse-unrinsed", "ultrasonic-burst", "keep-dry-box"),
        *("chamber-water-thymol", "chamber-water-thymol-large"),
    },
}


# What a surface is made of -> the most that a body part with it stands, mechanical and chemical, and
# the source of what is said of it in rules/zones.yaml.
STANDS = {
    "lens": (3, 3),  # macro-eyes-2017: a soft brush and dilute surfactant
    "membrane": (3, 3),  # asd-2000-wings: micrometres thick
    "resilin": (3, 3),  # resilin-compendium: hardens in dry solvents, dissolves in enzymes
    "sensilla": (3, 3),  # common-practice: what names the species
    "joint": (3, 4),  # glycerine-swab-pollen: shaking takes legs off
    "scaled": (2, 4),  # degreasing-moths: scales leave at a touch
    "soft-cuticle": (2, 2),  # byu-drying-2009: shrinks and collapses
}
# A trait -> the sturdiest that a group with it may count as, and the source of the trait.
AT_MOST = {
    "scaled-body": "very-delicate",  # wilts-2012
    "own-wax": "very-delicate",  # wax-insect-encyclopaedia
    "own-bloom": "delicate",  # futahashi-2019
    "lime-shell": "delicate",  # crustaceans-archiving-2004
    "fluid-preserved": "delicate",  # marhue-vogt: too soft to be kept dry
    "thin-cuticle": "normal",  # marquina-2021
    "soft-abdomen": "normal",  # hornaday-holland-1891
}


def test_no_body_part_stands_more_than_what_it_is_made_of(knowledge: Knowledge) -> None:
    for zone in knowledge.zones.values():
        for mechanical, chemical in (STANDS[s] for s in zone.surface if s in STANDS):
            assert zone.most_mechanical <= mechanical, zone.id
            assert zone.most_chemical <= chemical, zone.id


def test_no_group_is_sturdier_than_what_it_is_made_of(knowledge: Knowledge) -> None:
    grades = list(knowledge.fragility)
    for taxon in knowledge.taxa.values():
        for least in (AT_MOST[trait] for trait in taxon.traits if trait in AT_MOST):
            assert grades.index(taxon.fragility) >= grades.index(least), taxon.id


def test_frailer_is_what_stands_less(knowledge: Knowledge) -> None:
    """The grades are an order: each stands no more than the one before, the last nothing at all."""
    held = [(grade.most_mechanical, grade.most_chemical) for grade in knowledge.fragility.values()]
    assert all(a >= c and b >= d and (a, b) != (c, d) for (a, b), (c, d) in pairwise(held))
    assert held[-1] == (0, 0)


@pytest.mark.parametrize("kind", OTHERWISE)
def test_what_is_alike_is_graded_alike(kind: str, knowledge: Knowledge) -> None:
    grades: dict[object, dict[str, int]] = defaultdict(dict)
    for method in knowledge.methods.values():
        contact = knowledge.techniques[method.technique].contact
        like = method.technique if kind == "mechanical" else (method.agent, contact)
        grades[like][method.id] = getattr(method.harshness, kind).grade
    found = {m for each in grades.values() for m, g in each.items() if g != mode(each.values())}
    assert found == OTHERWISE[kind]


def test_stronger_or_longer_is_never_milder(knowledge: Knowledge) -> None:
    """What one class of agent does in one way to cuticle grows with its strength and with time."""
    held: dict[object, list[tuple[float, float, int, str]]] = defaultdict(list)
    for method in knowledge.methods.values():
        if method.agent and method.strength:
            like = (method.technique, knowledge.agents[method.agent].agent_class)
            longest = method.dwell_s.most if method.dwell_s else 0.0
            grade = method.harshness.chemical.grade
            held[*like, method.strength.unit].append(
                (method.strength.value, longest, grade, method.id)
            )
    compared = 0
    for milder, harsher in (pair for each in held.values() for pair in permutations(each, 2)):
        if milder[:2] != harsher[:2] and all(
            a <= b for a, b in zip(milder[:2], harsher[:2], strict=True)
        ):
            compared += 1
            assert milder[2] <= harsher[2], (milder, harsher)
    assert compared


def test_what_attacks_cuticle_is_tried_on_a_hidden_spot_first(knowledge: Knowledge) -> None:
    """Each new agent is tried where nobody looks: ``bernacki-general-rules``, from grade 2 on."""
    methods = [m for m in knowledge.methods.values() if m.stage == "clean"]
    attacks = {m.id for m in methods if m.harshness.chemical.grade >= 2}
    assert {m.id for m in knowledge.methods.values() if m.test_spot} == attacks


# (agent, hazard): what is told of it there holds only for a stronger solution than is used here, is
# remembered only, or is told by a graver hazard.
WEAKER = {
    ("chlorocresol", "irritant"),
    ("detergent-neutral", "environment"),
    ("tetrachloroethylene", "sensitiser-skin"),
    ("trisodium-phosphate", "corrosive"),
    *((row["agent"], "corrosive") for row in rows("hazards") if "H314" in row.get("stronger", ())),
}
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


def used(knowledge: Knowledge) -> list[Agent]:
    return [agent for agent in knowledge.agents.values() if not agent.never]


def test_what_a_hazard_statement_means_is_warned_of(knowledge: Knowledge) -> None:
    """Regulation (EC) 1272/2008, annex III, gives each code its words."""
    for agent in used(knowledge):
        codes = {h.code for h in agent.h_statements}
        told = {hazard for hazard, means in MEANS.items() if codes & set(means.split())}
        left = {h for a, h in WEAKER if a == agent.id}
        assert told - {*agent.hazards} <= left, agent.id


def test_whom_a_hazard_threatens_most_is_kept_from_it(knowledge: Knowledge) -> None:
    for agent in used(knowledge):
        kept = {c for hazard in agent.hazards for c in KEPT_FROM.get(hazard, ())}
        assert kept <= {*agent.not_for}, agent.id


def test_what_must_not_be_mixed_is_told_from_both_sides(knowledge: Knowledge) -> None:
    named = {
        (one.id, other.id)
        for one in knowledge.agents.values()
        for other in knowledge.agents.values()
        if any(mix.with_ in {other.id, other.agent_class} for mix in one.incompatible)
    }
    assert named
    assert {(other, one) for one, other in named} == named
