"""Order and removal of activations, and which reading is settled, on the smallest cases."""

import pytest

from tests.support.engines import engine_of
from tests.support.knowledge import shipped
from triage.engine.facts import Fact
from triage.engine.normal import NormalRule, Pattern, Template
from triage.engine.reading import standings_of
from triage.knowledge.rules import Family

SAID = (Template("said", (), ()),)


@pytest.mark.parametrize("matcher", ["join", "rete"])
def test_firing_order_follows_facts_then_rule_ids(matcher):
    rules = tuple(
        NormalRule(name, Family.GATE, (Pattern("k", False, (), ()),), SAID)
        for name in ("rule-b", "rule-a")
    )
    engine = engine_of(rules, matcher)
    engine.consult((Fact("k", "second", {"a": "v"}), Fact("k", "first", {"a": "u"})))
    assert [(c.facts[0], c.rule) for c in engine.concluded] == [
        ("second", "rule-a"),
        ("second", "rule-b"),
        ("first", "rule-a"),
        ("first", "rule-b"),
    ]


def test_engine_is_clean_after_a_fault_in_an_action():
    rule = NormalRule("one", Family.GATE, (Pattern("k", False, (), ()),), SAID)
    engine = engine_of((rule,))
    facts = (Fact("k", "one", {"a": "u"}),)

    def broken(_conclusion):
        raise RuntimeError("broken action")

    engine.conclude = broken
    with pytest.raises(RuntimeError, match="broken action"):
        engine.consult(facts)
    del engine.conclude
    assert [c.rule for c in engine.consult(facts)] == ["one"]
    assert not engine.agenda.activations


CLOSE = [(-0.85, "waxy-matting", 0.85), (-0.8, "fatty-matting", 0.8), (-0.3, "mud", 0.3)]
NO_GUARDS: frozenset[str] = frozenset()


ALIKE = {"waxy-matting", "fatty-matting"}
OTHER = [*CLOSE[:2], (-0.7, "natural-bloom", 0.7)]


@pytest.mark.parametrize(
    ("ranked", "alike", "standings"),
    [
        (CLOSE, (), ["likely", "likely"]),  # a close rival keeps a reading from being settled
        (CLOSE, ALIKE, ["settled", "likely", "open"]),  # no rival where nobody tells them apart
        (OTHER, ALIKE, ["likely"]),  # and a rival behind what is alike counts
    ],
)
def test_which_reading_is_settled_where_others_follow_closely(ranked, alike, standings):
    found = standings_of(shipped().judgement, ranked, NO_GUARDS, *([alike] if alike else []))
    assert found[: len(standings)] == standings


def test_only_deposits_share_their_word_that_one_liquid_takes_or_that_stay() -> None:
    # What is kept stays whichever of them it is: coat, packet, silk, prey, what grew on it alive.
    # Palmitic acid goes into alcohol and hydrocarbon alike (J. Chem. Eng. Data 54:64, 2009); what
    # swells or dissolves in a drop of water is not told apart by the drop: common practice.
    groups: dict[str, set[str]] = {}
    for deposit in shipped().deposits.values():
        if deposit.alike:
            groups.setdefault(deposit.alike, set()).add(deposit.id)
    assert groups == {
        "fat-or-wax": {
            "waxy-matting", "fatty-matting", "soap-mixed-matting", "oily-film", "fatty-acid-bloom",
        },
        "goes-with-water": {
            "sugar-honey", "body-salts", "glue-gum-residue", "gut-fluid-blood", "mud",
        },
        "stays": {
            "ectoparasite-fungus", "kept-thing", "own-coat", "pollinia",
            "prey-remains", "silk",
        },
    }  # fmt: skip
    assert all(shipped().deposits[each].is_left for each in groups["stays"])
    guarded = {d.id for d in shipped().deposits.values() if d.guard != "none"}
    assert not guarded & set().union(*groups.values())
