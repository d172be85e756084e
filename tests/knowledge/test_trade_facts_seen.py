"""Facts of the trade about what is seen, each beside its source, asked of the rulebase.

What is asked is published, what is looked at are our own entries: no independent check, so none of
these is counted as one. Titles in full stand in rules/sources/trade.yaml.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from tests.support.builders import full_bench
from tests.support.intake import READY
from triage.case.changes import new_case
from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.vocabulary import NONE, UNKNOWN
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.ladder import grades
from triage.plan.planner import Planner

ROOT = Path(__file__).parents[2]


def _concluded(
    consultant: Consultant, taxon: str = UNKNOWN, **specimen: str
) -> dict[str, set[str]]:
    """Return stages closed, refusals, and grades for a specimen with one finding."""
    given = {name.replace("_", "-"): value for name, value in specimen.items()} | {"taxon": taxon}
    facts = []
    for kind, known in (("specimen", given), ("bench", {}), ("finding", {"id": "f1"})):
        fields = {
            name: known.get(name, UNKNOWN if slot.askable else NONE)
            for name, slot in consultant.vocabulary.kinds[kind].items()
            if (kind, name) not in consultant.vocabulary.derived
        }
        assert set(known) <= set(fields)
        facts.append(Fact(kind, "f1" if kind == "finding" else kind, fields))
    found = consultant.consult_facts(tuple(facts), (), consultant.run_plain)
    return {
        "closed": {c.get("stage") for c in found.of(Family.GATE, "close")},
        "asked": {c.get("ask") for c in found.of(Family.GATE, "close") if "ask" in dict(c.fields)},
        "refused": {c.rule for c in found.of(Family.GATE, "refuse")},
        "fragility": {found.fact("specimen").get("fragility")},
    }


# Accepted in every respect that intake asks about.
SOUND = {
    "worth_it": "yes",
    "whole": "whole",
    "age": "since-1990",
    "photographed_before": "yes",
    "lacquered": "no",
    "old_poison_signs": "no",
    "live_pest_signs": "no",
    "urticating_hairs": "no",
    "mouldy_smell": "no",
}


def test_sound_specimen_passes_intake(consultant: Consultant) -> None:
    found = _concluded(consultant, "beetles", **SOUND)
    assert "intake" not in found["closed"]
    assert not found["refused"]


def test_emptied_and_filled_insects_are_worked_on(consultant: Consultant) -> None:
    """Large ones had their contents taken out and wool put in as a rule, so they are not refused.

    Source: Browne, Practical Taxidermy, chapter on collecting and preserving insects.
    """
    found = _concluded(consultant, "grasshoppers", **(SOUND | {"whole": "emptied-or-cut"}))
    assert not found["refused"]
    assert "intake" not in found["closed"]


def test_negative_home_test_opens_nothing(consultant: Consultant, knowledge: Knowledge) -> None:
    """Kits for arsenic err both ways, the mercury spot test is unsuitable.

    Source: Strekopytov, Spectroscopy Europe 27(4), 2015.
    """
    found = _concluded(
        consultant, "beetles", **(SOUND | {"old_poison_signs": "yes", "age": "since-1990"})
    )
    assert "intake" in found["closed"]
    asked = " ".join(q.id + " " + q.ask for q in knowledge.questions.values())
    assert not re.search(r"arsenic|mercury|spot test|test kit", asked)


def test_live_pests_stop_everything_until_frozen(consultant: Consultant) -> None:
    """-20 C, 72 h: 48 h was not always enough. Source: museum curator, collections list, 1999."""
    assert (
        "live-pest-signs"
        in _concluded(consultant, "beetles", **(SOUND | {"live_pest_signs": "yes"}))["asked"]
    )
    assert (
        "intake"
        not in _concluded(consultant, "beetles", **(SOUND | {"live_pest_signs": "frozen"}))[
            "closed"
        ]
    )


def test_dead_caterpillars_still_sting(consultant: Consultant, knowledge: Knowledge) -> None:
    """Source: University of Georgia, extension text on stinging caterpillars."""
    assert "urticating" in knowledge.taxa["hairy-caterpillars"].traits
    sound = {k: v for k, v in SOUND.items() if k != "urticating_hairs"}
    assert "urticating-hairs" in _concluded(consultant, "hairy-caterpillars", **sound)["asked"]
    assert (
        "urticating-hairs" in _concluded(consultant, "bees-wasps", urticating_hairs="yes")["asked"]
    )


STURDY = {"size": "large", "hydration": "supple", "age": "since-1990", "cracks": "none"}


def test_ethanol_of_90_percent_makes_brittle(consultant: Consultant, knowledge: Knowledge) -> None:
    """Brittle from 90 % up; thin-cuticled species lose parts. Source: Marquina et al., PeerJ 9:e10799, 2021."""
    assert "90 %" in knowledge.questions["old-ethanol-strong"].ask
    grades = list(knowledge.fragility)

    def grade(taxon: str, answer: str) -> int:
        found = _concluded(consultant, taxon, **STURDY, old_ethanol_strong=answer)
        return grades.index(found["fragility"].pop())

    assert grade("beetles", "yes") > grade("beetles", "no")
    assert grade("small-wasps", "yes") > grade("small-wasps", "no")
    assert grade("small-wasps", "yes") > grade("beetles", "yes")


def test_over_relaxed_is_worse_than_dry(consultant: Consultant, knowledge: Knowledge) -> None:
    """Parts drop off in the damp. Source: coleopterist society, preserving insects; the order is judgement."""
    grades = list(knowledge.fragility)
    found = [
        grades.index(
            _concluded(consultant, "beetles", **(STURDY | {"hydration": h}))["fragility"].pop()
        )
        for h in ("supple", "dry", "over-relaxed")
    ]
    assert found == sorted(set(found))


def test_warmth_look_stays_where_wax_is_plastic(knowledge: Knowledge) -> None:
    """Beeswax is plastic at 32-35 C and melts at 62-70 C.

    Source: trade page on beeswax; Museum of Fine Arts materials encyclopaedia.
    """
    low, high = map(int, re.findall(r"\d+", knowledge.questions["warmth"].how)[:2])
    assert 32 <= low <= high <= 35


def test_airing_temperature(knowledge: Knowledge) -> None:
    """About 80 F with good ventilation. Source: Hawks, Conservation DistList 20:33, 2006."""
    (named,) = re.findall(r"(\d+) C", knowledge.questions["airing"].how)
    assert float(named) == pytest.approx((80 - 32) * 5 / 9, abs=1)


def test_ocelli_and_eyes_carry_no_wax_crystals(
    knowledge: Knowledge, consultant: Consultant
) -> None:
    """Ommatidia and ocelli alone were free of wax crystals.

    Source: Gorb, Tynkkynen and Kotiaho, International Journal of Odonatology 12:205-221, 2009.
    """
    assert "waxy" not in knowledge.zones["ocelli"].surface
    rule = knowledge.rule("recognise-zone-eye")
    weights = {c["evidence"]["deposit"]: c["evidence"]["weight"] for c in rule.conclusions()}
    assert weights["natural-bloom"] < 0
    assert weights["own-wax"] < 0


def test_eye_coat_is_protein_and_wax(knowledge: Knowledge) -> None:
    """Retinin and corneal wax. Source: Kryuchkov et al., Nature, 17 September 2020."""
    assert "waxy" in knowledge.zones["compound-eye"].surface


def test_resilin_glow_is_no_deposit(knowledge: Knowledge) -> None:
    """Resilin fluoresces at 420 nm by nature. Source: Arthropod Structure and Development 29:75-83, 2000."""
    rule = knowledge.rule("recognise-uv-look-blue-joints-only")
    assert all(c["evidence"]["weight"] < 0 for c in rule.conclusions())
    assert "resilin" in knowledge.zones["wing-hinge"].surface


def test_joints_hold_resilin_that_dry_solvents_harden(knowledge: Knowledge) -> None:
    """It shrinks in absolute ethanol and acetone. Source: compendium entry on resilin (Weis-Fogh 1960)."""
    for zone in ("leg-joint", "wing-hinge"):
        assert "resilin" in knowledge.zones[zone].surface


def test_pruinose_dragonflies_reflect_uv(knowledge: Knowledge) -> None:
    """Source: Futahashi et al., eLife 8:e43045, 2019."""
    assert "own-bloom" in knowledge.taxa["dragonflies"].traits
    rule = knowledge.rule("recognise-uv-look-bright-uv")
    assert {c["evidence"]["deposit"] for c in rule.conclusions()} >= {"natural-bloom"}


def test_colour_that_comes_and_goes_with_damp(knowledge: Knowledge) -> None:
    """Hercules beetle: damp black, dry khaki-green, reversible. Source: Hinton and Jarman, Nature 238, 1972."""
    taxon = knowledge.taxa["beetles-metallic"]
    assert "water-dependent-colour" in taxon.traits
    (said,) = [c.text for c in taxon.changes if c.source == "hinton-jarman-1972"]
    assert "dry khaki-green" in said
    assert "damp black" in said


def test_alkali_leaves_silica_and_lime(knowledge: Knowledge) -> None:
    """Potassium hydroxide dissolves organic dirt, not silica or lime. Source: SEM cleaning comparison, about 2017."""
    against = {
        c["evidence"]["deposit"]: c["evidence"]["weight"]
        for c in knowledge.rule("recognise-ammonia-drop-milky-lift").conclusions()
    }
    assert against["lime-crust"] < 0


def test_mercury_ended_before_the_year_that_clears(knowledge: Knowledge) -> None:
    """Mercuric chloride was used until the mid-1980s. Source: Collection Forum 30, from p. 51."""
    (year,) = re.findall(r"\d{4}", knowledge.questions["age"].answers[1].text)
    assert int(year) > 1986


@pytest.mark.parametrize("group", ["beetles", "bees-wasps", "flies", "myriapods"])
def test_drying_out_of_a_fluid_is_harsh_however_gentle_the_act(
    planner: Planner, knowledge: Knowledge, group: str
) -> None:
    # Dried from fluid heads fall in and wings crinkle for good: Nelson, byu-drying-2009.
    told = {"hydration": "fluid-preserved", "arrival": "in-fluid", "aim": "keep-dry"}
    case = new_case(group, "test", taxon=group, answers={**READY, **told, "fluid": "ethanol"})
    plan = planner.plan(case, full_bench(knowledge))
    dried = [
        s for s in plan.steps if s.stage == "set-and-dry" and s.method != "dry-hair-moving-air"
    ]
    assert dried
    for step in dried:
        assert step.harshness.lasting >= 4, step.method
        assert any("not to be undone" in reason for reason in step.harshness_because)


def test_softening_and_washing_off_are_graded_by_what_nothing_undoes(knowledge: Knowledge) -> None:
    # Each softening shortens life: Simmons, simmons-2002. Pollen is a record: glycerine-swab-pollen.
    softened = {m for r in knowledge.conditions["brittle"].ladder for m in r.method}
    assert all(grades(knowledge.methods[m])[3] >= 2 for m in softened)
    washed = ("water-swish", "wash-detergent", "wash-detergent-shake")
    assert all(knowledge.methods[m].harshness.lasting for m in washed)
