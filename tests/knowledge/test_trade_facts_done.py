"""Facts of the trade about what is done, each beside its source, asked of methods and interlocks.

As in ``test_trade_facts_seen``: no independent checks. ``common practice`` is backed by no document.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method, Span
from triage.knowledge.rules import Family

ROOT = Path(__file__).parents[2]
HOUR_S = 3600.0


def dwell(method: Method) -> Span:
    assert method.dwell_s is not None
    return method.dwell_s


def strength(method: Method) -> float:
    assert method.strength is not None
    return method.strength.value


def facts(
    consultant: Consultant, given: dict[str, dict[str, str]], reading: dict[str, str] | None = None
) -> tuple[Fact, ...]:
    """Return the facts of one specimen, bench and finding; all not given is unknown."""
    found = []
    for kind in ("specimen", "bench", "finding"):
        fields = {
            name: UNKNOWN if slot.askable else NONE
            for name, slot in consultant.vocabulary.kinds[kind].items()
        } | given.get(kind, {})
        found.append(Fact(kind, "f1" if kind == "finding" else kind, fields))
    if reading:
        found.append(Fact("reading", "r1", reading))
    return tuple(found)


def forbidden(
    consultant: Consultant,
    *,
    reading: dict[str, str] | None = None,
    **given: dict[str, str],
) -> frozenset[str]:
    """Return all methods an interlock takes away, worked out by the second evaluator."""
    sturdy = {"id": "f1", "zone": "elytra", "fragility": "robust", "settled": "oily-film"}
    given["finding"] = sturdy | given.get("finding", {})
    found = consultant.run_plain(Family.FORBID, facts(consultant, given, reading))
    return frozenset(method for c in found for method in c.get("method"))


SOFT = {
    "hydration": "supple", "taxon": "beetles", "pin": "none", "old-poison-signs": "no",
    "whole": "whole",
}  # fmt: skip


# --- numbers -------------------------------------------------------------------------------
def test_hot_water_is_for_beetles_and_bugs(knowledge: Knowledge, consultant: Consultant) -> None:
    """60-70 C softens beetles and bugs, never wings. Source: korea-arboretum-specimens."""
    for taxon in knowledge.taxa:
        stiff = SOFT | {"taxon": taxon, "hydration": "dry", "live-pest-signs": "no"}
        barred = "warm-water-soak-beetle" in forbidden(consultant, specimen=stiff)
        assert barred == (taxon not in {"beetles", "beetles-metallic", "true-bugs"})


def soaks_dry(knowledge: Knowledge, method: Method) -> bool:
    """Return whether a method soaks a dry insect in a fat solvent."""
    return knowledge.techniques[method.technique].water_free


def test_acetone_is_brief(knowledge: Knowledge, consultant: Consultant) -> None:
    """Scales loosen beyond 1 h; washed bees get about 30 s. degreasing-moths, usgs-bee-lab-2017."""
    used = [m for m in knowledge.methods.values() if m.agent == "acetone"]
    assert used
    assert all(
        dwell(m).most <= 30 for m in used if m.stage == "clean" and not soaks_dry(knowledge, m)
    )
    moth = {"taxon": "butterflies-moths", "hydration": "dry"}
    barred = forbidden(consultant, specimen=moth, finding={"zone": "wing-scaled"})
    on_wings = [m for m in used if m.id not in barred]
    assert all(dwell(method).most <= HOUR_S for method in on_wings)


def test_hydrocarbons_stay_below_the_stripping_time(
    knowledge: Knowledge, consultant: Consultant
) -> None:
    """About 15 min strips surface lipids. Source: hydrocarbon-extraction.

    A dry insect lies in them for days where it is to lose its fat (tiger-beetles-2012), so never
    beside wax of its own.
    """
    used = [m for m in knowledge.methods.values() if m.agent in {"heptane", "naphtha-dearomatised"}]
    assert used
    brief = [m for m in used if not soaks_dry(knowledge, m)]
    assert all(dwell(method).most * method.passes < 15 * 60 for method in brief)
    wax = {
        "finding": "f1",
        "zone": "elytra",
        "deposit": "own-wax",
        "standing": "suspected",
        "reach": "yes",
    }
    barred = forbidden(consultant, reading=wax, specimen={"taxon": "beetles", "hydration": "dry"})
    long = {m.id for m in used if dwell(m).most * m.passes >= 15 * 60}
    assert long
    assert long <= barred


def test_storage_strength(knowledge: Knowledge, consultant: Consultant) -> None:
    """Brittle from 90 %, small wasps 95 %: marquina-2021, ars-hymenoptera. 70 to 80 %: common practice."""
    for method in knowledge.methods.values():
        if method.technique != "vial-wet":
            continue
        for taxon in knowledge.taxa:
            free = method.id not in forbidden(consultant, specimen=SOFT | {"taxon": taxon})
            if free and taxon != "small-wasps":
                assert 70 <= strength(method) <= 80, (method.id, taxon)


# --- relations -----------------------------------------------------------------------------
def test_no_metal_pin_in_alcohol(consultant: Consultant) -> None:
    """Source: museum-tags-2024 and common practice."""
    wet = {"keep-wet-ethanol", "change-alcohol"}
    for pin in ("steel-stainless", "steel-plain", "brass", "unknown-metal", UNKNOWN):
        assert wet <= forbidden(consultant, specimen=SOFT | {"taxon": "spiders", "pin": pin})
    assert not wet & forbidden(consultant, specimen=SOFT | {"taxon": "spiders"})


def test_ultrasonic_destroys_fragile_insects(knowledge: Knowledge, consultant: Consultant) -> None:
    """Source: sem-cleaning-2017."""
    for grade in list(knowledge.fragility)[1:]:
        assert "ultrasonic-burst" in forbidden(
            consultant,
            specimen=SOFT | {"cracks": "none", "size": "large"},
            finding={"zone": "elytra", "fragility": grade},
        )


def test_nothing_wet_on_a_dry_specimen(knowledge: Knowledge, consultant: Consultant) -> None:
    """Source: common practice; dry insects snap when handled, ross-unmounted.

    On what is dry and firm a moist brush or a dab of water is borne, and a fat solvent without
    water; a trial spot stands only before a step that is itself permitted.
    """
    for state in ("dry", "damp-not-ready", "too-wet", "over-relaxed", UNKNOWN):
        barred = forbidden(consultant, specimen=SOFT | {"hydration": state})
        for method in knowledge.methods.values():
            technique = knowledge.techniques[method.technique]
            borne = technique.water_free or method.id in {
                "humid-brush",
                "eye-moist-touch",
                "water-dab",
            }
            if method.stage == "clean" and technique.wet != "dry" and not method.tries_next:
                assert method.id in barred or (state == "dry" and borne), (state, method.id)


@pytest.mark.parametrize("deposit", ["natural-bloom", "own-wax"])
@pytest.mark.parametrize(("standing", "reach"), [("open", "yes"), ("suspected", "no")])
def test_natural_wax_gets_air_only(
    knowledge: Knowledge, consultant: Consultant, deposit: str, standing: str, reach: str
) -> None:
    """Bloom is the insect's own. Sources: namib-bloom-1985, futahashi-2019, gorb-2009.

    A puff or moving air touches nothing; air of more than 30 C would be too warm: judgement.
    """
    reading = {"finding": "f1", "zone": "elytra", "deposit": deposit}
    reading |= {"standing": standing, "reach": reach}
    barred = forbidden(consultant, specimen=SOFT, reading=reading)
    left = [m for m in knowledge.methods.values() if m.stage == "clean" and m.id not in barred]
    assert {m.technique for m in left} <= {"puffer", "look", "airing"}
    for method in left:
        technique = knowledge.techniques[method.technique]
        assert (technique.wet, technique.contact) == ("dry", "none")
        assert method.temp_c is None or method.temp_c.most <= 30


def test_neutral_rinse_stands_before_pepsin(consultant: Consultant) -> None:
    """Pepsin is dead in what is basic, for good. Source: pepsin-ph."""
    given = (*facts(consultant, {}), Fact("state", "s", {"condition": "stuck-joints"}))
    inserts = {
        method: c.get("first")
        for c in consultant.run_plain(Family.ORDER, given)
        if c.kind == "insert"
        for method in c.get("method")
    }
    assert inserts["pepsin-joint"] == "rinse-neutral"


def test_brittle_agents_ask_for_posing_first(knowledge: Knowledge) -> None:
    """Resilin hardens in absolute ethanol and acetone. Source: resilin-compendium."""
    for name in ("acetone-dip", "ethanol-90-brush", "set-dry-alcohol-ladder"):
        assert any("pose" in line.lower() for line in knowledge.methods[name].do)
