"""Grades, hazards and lines about safety agree with each other: the rules against the rules, no document.

How hard a specimen is handled lies in the technique, what a liquid does to insect and person in the
liquid and in how it meets them. Where a method is graded otherwise than its like it stands here, with
what is different about it; a grade that slipped stands out. Of a step the whole is read, as a plan
holds it: what to wear, what to do, the cautions, the waste.
"""

import re
from collections import defaultdict
from itertools import pairwise, permutations
from statistics import mode
from typing import Any

import pytest

from tests.knowledge.test_entries import step_of
from tests.second_entry.tables import MEANS, rows
from tests.support.intake import SOUND
from tests.support.knowledge import shipped
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
        "rinse-out-glycol",
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


def test_no_body_part_and_no_group_stands_more_than_what_it_is_made_of(
    knowledge: Knowledge,
) -> None:
    for zone in knowledge.zones.values():
        for mechanical, chemical in (STANDS[s] for s in zone.surface if s in STANDS):
            assert zone.most_mechanical <= mechanical, zone.id
            assert zone.most_chemical <= chemical, zone.id
    grades = list(knowledge.fragility)
    for taxon in knowledge.taxa.values():
        for least in (AT_MOST[trait] for trait in taxon.traits if trait in AT_MOST):
            assert grades.index(taxon.fragility) >= grades.index(least), taxon.id
    # The grades are an order: each stands no more than the one before, the last nothing at all.
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


def test_what_a_hazard_statement_means_is_warned_of_and_who_is_threatened_kept_from_it(
    knowledge: Knowledge,
) -> None:
    """Regulation (EC) 1272/2008, annex III, gives each code its words."""
    for agent in used(knowledge):
        codes = {h.code for h in agent.h_statements}
        told = {hazard for hazard, means in MEANS.items() if codes & set(means.split())}
        left = {h for a, h in WEAKER if a == agent.id}
        assert told - {*agent.hazards} <= left, agent.id
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


GLOVES = {m.name: m.id for m in shipped().materials.values() if m.role == "glove"}
STUFFS = ("nitrile", "butyl", "neoprene", "rubber", "pvc", "pva", "laminate", "fluoroelastomer")
INTO_THE_DRAIN = "may go down the drain"
NOT_INTO_IT = re.compile(r"\b(no|not)\b[^.;]*\b(drain|pour)|closed, labelled")
# A sentence that says that a glove lets something through does not say to wear it.
LETS_THROUGH = re.compile(r"\bthrough\b|\bminute|\bfails?\b")
OLD_AND_MOULDY = SOUND | {"age": "before-1990", "mouldy-smell": "yes"}


def _named(lines: tuple[str, ...]) -> set[str]:
    """The gloves that are named, in lines of the form "agent: glove, note"."""
    return {g for line in lines for g in GLOVES if line.split(": ", 1)[1].startswith(g)}


def _of(stuff: str, gloves: set[str]) -> bool:
    return any(stuff in GLOVES[g] for g in gloves)


def _sentences(step: Any) -> list[str]:
    said = [*step.do, *step.rinse, step.tool, *step.protection.breathing]
    return [*said, *(line.text for line in step.cautions)]


@pytest.fixture(params=["sound", "old-and-mouldy"])
def answers(request: pytest.FixtureRequest) -> dict[str, str]:
    return SOUND if request.param == "sound" else OLD_AND_MOULDY


@pytest.mark.parametrize("method", sorted(shipped().methods))
def test_the_lines_of_a_step_do_not_speak_against_each_other(
    method: str, answers: dict[str, str]
) -> None:
    step = step_of(method, answers)
    holds, fails = _named(step.protection.gloves), _named(step.protection.gloves_fail)
    assert not holds & fails
    assert holds or not fails, "a glove is named that fails, and none that holds"
    for sentence in _sentences(step):
        said = {s for s in STUFFS if re.search(rf"\b{s}\b", sentence, re.IGNORECASE)}
        worn = {s for s in said if _of(s, fails) and not _of(s, holds)}
        assert not worn or LETS_THROUGH.search(sentence), sentence
    waste = [*step.disposal, *(x.text for x in step.cautions if x.kind == "disposal")]
    into = [line for line in waste if INTO_THE_DRAIN in line]
    kept_out = [line for line in waste if INTO_THE_DRAIN not in line and NOT_INTO_IT.search(line)]
    assert not (into and kept_out)


def test_gloves_and_drain_are_spoken_of_at_all() -> None:
    """What the test above compares stands there: it is not silent for want of words."""
    steps = [step_of(method, SOUND) for method in ("ethanol-70-brush", "wash-detergent")]
    assert _named(steps[0].protection.gloves)
    assert _named(steps[0].protection.gloves_fail)
    assert any(NOT_INTO_IT.search(line) for line in steps[0].disposal)
    assert any(INTO_THE_DRAIN in line for line in steps[1].disposal)


# Tool -> words of a tool line that mean it.
TOLD_BY = {
    "soft-brush": r"soft brush|softest brush|fine brush|soft natural-hair brush",
    "single-hair-brush": r"soft hairs in a handle",
    "lens-tissue": r"lens tissue",
    "filter-paper": r"filter paper",
    "dropper": r"dropper",
    "vials": r"\bvials?\b",
    "small-bath": r"glass bath|covered bath|glass vessel|glass jar|closed glass dish",
    "ph-strips": r"pH strips",
    "thermometer": r"thermometer",
    "minuten-pick": r"minuten pin",
    "warm-plate": r"warm plate",
    "puffer": r"hand puffer",
    "hepa-suction": r"high-efficiency filter",
    "freezer": r"freezer",
    "ultrasonic-bath": r"ultrasonic bath",
    "foam-board-solvent-safe": r"cork board",
    "airtight-chamber": r"perforated shelf|damp chamber",
}
# (method, tool) of which the tool line speaks and the needs do not, or not yet: one of two will do,
# or whoever lacks it is still offered the method. Who mends one takes it out here.
NOT_ASKED_FOR = {
    ("blot-dry", "lens-tissue"),
    ("chamber-eyes-hours", "filter-paper"),
    ("air-out", "thermometer"),
    ("alkaline-surfactant-brush", "lens-tissue"),
    ("ammonia-1-brush", "dropper"),
    ("ammonia-surfactant-brush", "dropper"),
    ("chamber-acetic", "dropper"),
    ("chamber-water-phenol", "dropper"),
    ("dip-ammonia-surfactant", "small-bath"),
    ("freeze-quarantine", "thermometer"),
    ("pepsin-joint", "soft-brush"),
    ("pepsin-joint", "warm-plate"),
    ("pick-under-alcohol", "dropper"),
    ("protease-dab", "ph-strips"),
    ("rinse-neutral", "dropper"),
    ("rinse-neutral", "filter-paper"),
    ("warm-water-soak-beetle", "small-bath"),
    ("warm-water-soak-beetle", "thermometer"),
    ("water-distilled-rinse", "filter-paper"),
}


def test_what_the_tool_line_names_is_asked_for(knowledge: Knowledge) -> None:
    """A bench without the tool that a step is done with is not offered the step."""
    named = {
        (method.id, tool)
        for method in knowledge.methods.values()
        for tool, words in TOLD_BY.items()
        if re.search(words, method.tool) and tool not in method.needs
    }
    assert named == NOT_ASKED_FOR


# What a vessel holds [mL], and what a brush, a tissue or a dropper gives at a touch: twenty drops.
HOLDS_ML = {"vials": 20.0, "small-bath": 60.0}
AT_A_TOUCH_ML = 1.0
# A wide vial with a sieve, drops until the paper is neutral, a closed dish for a large dragonfly.
LARGER = {"wash-detergent-shake", "rinse-neutral", "set-dry-acetone"}


def test_no_step_takes_more_than_what_it_is_done_with_holds(knowledge: Knowledge) -> None:
    over = set()
    for method in knowledge.methods.values():
        most = [HOLDS_ML[need] for need in method.needs if need in HOLDS_ML]
        if knowledge.techniques[method.technique].contact == "touch":
            most = [AT_A_TOUCH_ML]
        if method.amount and most and method.amount.typical_ml > min(most):
            over.add(method.id)
    assert over == LARGER


NUMBER = r"(-?\d+(?:\.\d+)?)"
TOLD = {
    "strength": "%",
    "temp_c": "degC",
    "dwell_s": r"(?:s|seconds?|min|minutes?|h|hours?|days?)\b(?! each)",
}
SECONDS = {"s": 1.0, "m": 60.0, "h": 3600.0, "d": 86400.0}
# Where the words tell of the way up by steps, or of the alcohol that follows, and not of the main agent.
OF_ANOTHER = {
    ("weaken-alcohol", "strength"),
    ("out-of-formalin", "strength"),
    ("set-dry-alcohol-ladder", "dwell_s"),
}


def _told(field: str, words: str) -> set[float]:
    """The figures that words give of a field, in its unit."""
    found: set[float] = set()
    pattern = rf"(?:{NUMBER} (?:to|and) )?{NUMBER} ({TOLD[field]})"
    for *figures, unit in re.findall(pattern, words):
        factor = SECONDS[unit[0]] if field == "dwell_s" else 1.0
        found |= {float(figure) * factor for figure in figures if figure}
    return found


@pytest.mark.parametrize("field", TOLD)
def test_the_words_of_a_step_give_the_figures_of_its_data(field: str, knowledge: Knowledge) -> None:
    """Whoever follows the words does what the plan reckons with: strength, warmth and time."""
    otherwise, told_of = set(), 0
    for method in knowledge.methods.values():
        told = _told(field, " ".join((method.name, method.tool, *method.do)))
        held = getattr(method, field)
        if not told or held is None or (field == "strength" and "%" not in held.unit):
            continue
        told_of += 1
        if field == "strength":
            is_said = held.value in told
        elif field == "temp_c":
            is_said = not told.isdisjoint({held.start, held.most})
        else:
            is_said = any(held.start <= figure <= held.most for figure in told)
        if not is_said:
            otherwise.add((method.id, field))
    assert otherwise == {each for each in OF_ANOTHER if each[1] == field}
    assert told_of
