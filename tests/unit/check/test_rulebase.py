"""The verifier finds no fault in the shipped rulebase, and finds seeded ones with their line."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.support.knowledge import consultant, shipped
from triage.check.rulebase import faults_of
from triage.engine.consult import Consultant
from triage.knowledge.rules import Family


def with_rules(family: Family, *added) -> Consultant:
    knowledge = shipped()
    rules = {**knowledge.rules, family: (*knowledge.rules[family], *added)}
    return Consultant(replace(knowledge, rules=rules))


def test_the_shipped_rulebase_has_no_fault():
    assert faults_of(consultant()) == []


@pytest.mark.parametrize("place", range(0, 40, 4))
def test_a_duplicate_is_found(place):
    rule = shipped().rules[Family.FORBID][place]
    copied = rule.model_copy(update={"id": f"zz-{rule.id}"})
    assert any("says the same" in f.message for f in faults_of(with_rules(Family.FORBID, copied)))


@pytest.mark.parametrize("place", range(0, 40, 4))
def test_an_offer_that_is_always_forbidden_is_found(place):
    """An interlock on any state of the specimen shuts a method out for good."""
    offer = shipped().rules[Family.OFFER][place]
    method = next(iter(offer.conclusions()))["offer"]["method"][0]
    rule = (
        shipped()
        .rules[Family.FORBID][0]
        .model_copy(
            update={
                "id": "zz-forbid-always",
                "when": ({"specimen": {"taxon": "$t"}},),
                "then": {"forbid": {"method": [method]}},
            }
        )
    )
    found = faults_of(with_rules(Family.FORBID, rule))
    assert any("always forbidden" in f.message and method in f.message for f in found)
    assert all(f.where.file and f.where.line for f in found if "always" in f.message)
