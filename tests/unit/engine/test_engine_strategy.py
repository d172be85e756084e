"""The order and the removal of activations, on the smallest cases."""

from __future__ import annotations

import pytest

from tests.support.engines import engine_of
from triage.engine.facts import Fact
from triage.engine.normal import NormalRule, Pattern, Template
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
