"""Facts of the trade, each beside its source, asked of the entries and of the interlocks.

What is asked is published, what is looked at are our own entries: no independent check, so none of
these is counted as one. Titles in full stand in rules/sources. What whole plans show stands in
``whole_plans.yaml``; what is barred where, and how long, strong and warm, in ``tests/second_entry``.
"""

import re
from collections.abc import Callable
from math import exp

import pytest
from chemicals import Hfus, Tm

from tests.support.builders import OILY, case_with, full_bench
from tests.support.intake import READY
from triage.case.changes import new_case
from triage.case.profile import Bench
from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.knowledge.rules import Family
from triage.plan.ladder import grades
from triage.plan.planner import Planner

HOUR_S = 3600.0


def weights(knowledge: Knowledge, rule: str) -> dict[str, float]:
    """Return the evidence of a rule: deposit -> weight."""
    said = [c["evidence"] for c in knowledge.rule(rule).conclusions()]
    return {each["deposit"]: each["weight"] for each in said}


def figures(text: str) -> list[int]:
    return [int(each) for each in re.findall(r"\d+", text)]


def melt_together(knowledge: Knowledge, *names: str) -> bool:
    """Return whether an ideal mixture has no solid left: the solubilities add up to one or more."""
    kelvin = knowledge.methods["chamber-water-thymol"].temp_c.most + 273.15
    numbers = [knowledge.agents[name].cas for name in names]
    solved = (exp(-Hfus(cas) / 8.314 * (1 / kelvin - 1 / Tm(cas))) for cas in numbers)
    return sum(solved) >= 1 and kelvin < min(map(Tm, numbers))


FACTS: dict[str, Callable[[Knowledge], bool]] = {
    "Univ. of Georgia, stinging caterpillars: dead ones still sting": (
        lambda k: "urticating" in k.taxa["hairy-caterpillars"].traits
    ),
    "Strekopytov, Spectroscopy Europe 27(4), 2015: kits for arsenic err both ways, so none is asked for": (
        lambda k: not any(
            re.search(r"arsenic|mercury|spot test|test kit", f"{q.id} {q.ask}")
            for q in k.questions.values()
        )
    ),
    "Marquina et al., PeerJ 9:e10799, 2021: brittle from 90 % up": (
        lambda k: "90 %" in k.questions["old-ethanol-strong"].ask
    ),
    "trade page on beeswax, Museum of Fine Arts: plastic at 32-35 C, melts at 62-70 C": (
        lambda k: 32 <= min(x := figures(k.questions["warmth"].how)[:2]) <= max(x) <= 35
    ),
    "Hawks, Conservation DistList 20:33, 2006: aired at about 80 F": (
        lambda k: abs(float(re.findall(r"(\d+) C", k.questions["airing"].how)[0]) - 26.7) <= 1
    ),
    "Gorb, Tynkkynen and Kotiaho, Int. J. Odonatology 12, 2009: ommatidia and ocelli carry no wax crystals": (
        lambda k: "waxy" not in k.zones["ocelli"].surface
        and weights(k, "recognise-zone-eye")["natural-bloom"] < 0
        and weights(k, "recognise-zone-eye")["own-wax"] < 0
    ),
    "Kryuchkov et al., Nature, 17 September 2020: the coat of the eye is protein and wax": (
        lambda k: "waxy" in k.zones["compound-eye"].surface
    ),
    "Arthropod Structure and Development 29, 2000: resilin fluoresces by nature, it is no deposit": (
        lambda k: max(weights(k, "recognise-uv-look-blue-joints-only").values()) < 0
    ),
    "Weis-Fogh 1960, compendium on resilin: joints hold it, dry solvents harden it": (
        lambda k: all("resilin" in k.zones[zone].surface for zone in ("leg-joint", "wing-hinge"))
        and all(
            any("pose" in line.lower() for line in k.methods[name].do)
            for name in ("acetone-dip", "ethanol-90-brush", "set-dry-alcohol-ladder")
        )
    ),
    "Futahashi et al., eLife 8:e43045, 2019: pruinose dragonflies reflect ultraviolet": (
        lambda k: "own-bloom" in k.taxa["dragonflies"].traits
        and "natural-bloom" in weights(k, "recognise-uv-look-bright-uv")
    ),
    "Hinton and Jarman, Nature 238, 1972: Hercules beetle, damp black, dry khaki-green": (
        lambda k: "water-dependent-colour" in k.taxa["beetles-metallic"].traits
        and [
            "dry khaki-green" in c.text and "damp black" in c.text
            for c in k.taxa["beetles-metallic"].changes
            if c.source == "hinton-jarman-1972"
        ]
        == [True]
    ),
    "SEM cleaning comparison, about 2017: potassium hydroxide leaves silica and lime": (
        lambda k: weights(k, "recognise-ammonia-drop-milky-lift")["lime-crust"] < 0
    ),
    "Collection Forum 30, from p. 51: mercuric chloride was used until the mid-1980s": (
        lambda k: figures(k.questions["age"].answers[1].text) > [1986]
    ),
    "Simmons, simmons-2002: each softening shortens life": (
        lambda k: all(
            grades(k.methods[m])[3] >= 2 for r in k.conditions["brittle"].ladder for m in r.method
        )
    ),
    "glycerine-swab-pollen: pollen is a record, what washes it off is not to be undone": (
        lambda k: all(
            k.methods[m].harshness.lasting
            for m in ("water-swish", "wash-detergent", "wash-detergent-shake")
        )
    ),
    "chemicals library, melting points and heats of fusion, Schroeder: thymol and p-dichlorobenzene melt together": (
        lambda k: melt_together(k, "thymol", "paradichlorobenzene")
    ),
}  # fmt: skip


@pytest.mark.parametrize("fact", FACTS)
def test_the_entries_hold_the_fact(fact: str, knowledge: Knowledge) -> None:
    assert FACTS[fact](knowledge)


def frailty(consultant: Consultant, taxon: str, **answers: str) -> int:
    told = {"size": "large", "hydration": "supple", "age": "since-1990", "cracks": "none"}
    told |= {name.replace("_", "-"): value for name, value in answers.items()}
    case = new_case("x", "t", taxon=taxon, answers=told, findings=({"id": "f1", "zone": "elytra"},))
    fact = consultant.consult(case, Bench(), plain=True).fact("specimen")
    return list(consultant.knowledge.fragility).index(fact.get("fragility"))


def test_strong_alcohol_and_too_much_damp_make_frail(consultant: Consultant) -> None:
    """Brittle from 90 %, thin-cuticled species lose parts: Marquina et al. 2021. Parts drop off in the
    damp: coleopterist society, preserving insects; the order is judgement."""
    beetle, wasp = (
        [frailty(consultant, taxon, old_ethanol_strong=each) for each in ("no", "yes")]
        for taxon in ("beetles", "small-wasps")
    )
    assert beetle[0] < beetle[1] < wasp[1] > wasp[0]
    softness = [
        frailty(consultant, "beetles", hydration=h) for h in ("supple", "dry", "over-relaxed")
    ]
    assert softness == sorted(set(softness))


@pytest.mark.parametrize("group", ["beetles", "bees-wasps", "flies", "myriapods"])
def test_drying_out_of_a_fluid_is_harsh_however_gentle_the_act(
    group: str, planner: Planner
) -> None:
    # Dried from fluid heads fall in and wings crinkle for good: Nelson, byu-drying-2009.
    told = {"hydration": "fluid-preserved", "arrival": "in-fluid", "aim": "keep-dry"}
    case = new_case(group, taxon=group, answers={**READY, **told, "fluid": "ethanol"})
    steps = [s for s in planner.plan(case, full_bench()).steps if s.stage == "set-and-dry"]
    dried = [s for s in steps if s.method != "dry-hair-moving-air"]
    assert dried
    for step in dried:
        assert step.harshness.lasting >= 4, step.method
        assert any("not to be undone" in reason for reason in step.harshness_because)


def test_a_chemical_step_is_complete(planner: Planner, knowledge: Knowledge) -> None:
    """What a chemical step says: the design's own demand on every step."""
    plan = planner.plan(case_with("beetles", "elytra", OILY), full_bench(knowledge))
    chemical = [s for s in plan.steps if s.agent and knowledge.agents[s.agent].limits]
    assert chemical
    for step in chemical:
        held = (step.amount_ml, step.make_up, step.protection.gloves, step.because, step.rules)
        assert all((*held, step.success, step.stop_points)), step.id
        assert step.air is not None
        assert step.air.ventilation
        assert any(limit.ratio > 0 for limit in step.air.limits), step.id


# -- interlocks -----------------------------------------------------------------------------------


SOFT = {"hydration": "supple", "pin": "none", "old-poison-signs": "no", "whole": "whole"}
SOFT |= {"taxon": "beetles"}


def forbidden(
    consultant: Consultant, reading: dict[str, str] | None = None, **told: str
) -> frozenset[str]:
    """Return all methods an interlock takes away from a sturdy wing case, by the second evaluator."""
    told = SOFT | {name.replace("_", "-"): value for name, value in told.items()}
    seen = {"id": "f1", "zone": told.pop("zone", "elytra"), "settled": "oily-film"}
    seen |= {"fragility": "robust"}
    facts = []
    for kind, given in (("specimen", told), ("bench", {}), ("finding", seen)):
        slots = consultant.vocabulary.kinds[kind]
        fields = {name: UNKNOWN if slot.askable else NONE for name, slot in slots.items()}
        facts.append(Fact(kind, "f1" if kind == "finding" else kind, fields | given))
    if reading:
        facts.append(Fact("reading", "r1", {"finding": "f1", "zone": "elytra", **reading}))
    found = consultant.run_plain(Family.FORBID, tuple(facts))
    return frozenset(method for c in found for method in c.get("method"))


def used(knowledge: Knowledge, *agents: str) -> list[Method]:
    found = [m for m in knowledge.methods.values() if m.agent in agents]
    assert found
    return found


def is_dry_soak(knowledge: Knowledge, method: Method) -> bool:
    """Return whether a method soaks a dry insect in a fat solvent."""
    return knowledge.techniques[method.technique].water_free


def test_hot_water_is_for_beetles_and_bugs(knowledge: Knowledge, consultant: Consultant) -> None:
    """60-70 C softens beetles and bugs, never wings. Source: korea-arboretum-specimens."""
    told = {"hydration": "dry", "live_pest_signs": "no"}
    barred = {taxon: forbidden(consultant, taxon=taxon, **told) for taxon in knowledge.taxa}
    free = {taxon for taxon, held in barred.items() if "warm-water-soak-beetle" not in held}
    assert free == {"beetles", "beetles-metallic", "true-bugs"}


def test_acetone_is_brief(knowledge: Knowledge, consultant: Consultant) -> None:
    """Scales loosen beyond 1 h; washed bees get about 30 s. degreasing-moths, usgs-bee-lab-2017."""
    baths = used(knowledge, "acetone")
    washes = [m for m in baths if m.stage == "clean" and not is_dry_soak(knowledge, m)]
    assert all(m.dwell_s.most <= 30 for m in washes)
    barred = forbidden(consultant, taxon="butterflies-moths", hydration="dry", zone="wing-scaled")
    assert all(m.dwell_s.most <= HOUR_S for m in baths if m.id not in barred)


def test_hydrocarbons_stay_below_the_stripping_time(
    knowledge: Knowledge, consultant: Consultant
) -> None:
    """About 15 min strips surface lipids. Source: hydrocarbon-extraction.

    A dry insect lies in them for days where it is to lose its fat (tiger-beetles-2012), so never
    beside wax of its own.
    """
    long = {
        m.id: is_dry_soak(knowledge, m)
        for m in used(knowledge, "heptane", "naphtha-dearomatised")
        if m.dwell_s.most * m.passes >= 15 * 60
    }
    wax = {"deposit": "own-wax", "standing": "suspected", "reach": "yes"}
    assert long
    assert all(long.values())
    assert long.keys() <= forbidden(consultant, wax, hydration="dry")


def test_storage_strength(knowledge: Knowledge, consultant: Consultant) -> None:
    """Brittle from 90 %, small wasps 95 %: marquina-2021, ars-hymenoptera. 70 to 80 %: common practice."""
    for taxon in knowledge.taxa.keys() - {"small-wasps"}:
        kept = [m for m in knowledge.methods.values() if m.technique == "vial-wet"]
        free = [m for m in kept if m.id not in forbidden(consultant, taxon=taxon)]
        assert all(70 <= m.strength.value <= 80 for m in free), taxon


@pytest.mark.parametrize(
    "pin", ["steel-stainless", "steel-plain", "brass", "unknown-metal", UNKNOWN]
)
def test_no_metal_pin_in_alcohol(pin: str, consultant: Consultant) -> None:
    """Source: museum-tags-2024 and common practice."""
    wet = {"keep-wet-ethanol", "change-alcohol"}
    assert wet <= forbidden(consultant, taxon="spiders", pin=pin)
    assert not wet & forbidden(consultant, taxon="spiders", pin="none")


@pytest.mark.parametrize("deposit", ["natural-bloom", "own-wax"])
@pytest.mark.parametrize(("standing", "reach"), [("open", "yes"), ("suspected", "no")])
def test_natural_wax_gets_air_only(
    knowledge: Knowledge, consultant: Consultant, deposit: str, standing: str, reach: str
) -> None:
    """Bloom is the insect's own. Sources: namib-bloom-1985, futahashi-2019, gorb-2009.

    A puff or moving air touches nothing; air of more than 30 C would be too warm: judgement.
    """
    barred = forbidden(consultant, {"deposit": deposit, "standing": standing, "reach": reach})
    left = [m for m in knowledge.methods.values() if m.stage == "clean" and m.id not in barred]
    assert {m.technique for m in left} <= {"puffer", "look", "airing"}
    for method in left:
        technique = knowledge.techniques[method.technique]
        assert (technique.wet, technique.contact) == ("dry", "none")
        assert method.temp_c is None or method.temp_c.most <= 30
