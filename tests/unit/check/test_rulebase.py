"""The verifier finds no fault in the shipped rulebase, and finds seeded ones with their line."""

from __future__ import annotations

from dataclasses import replace

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


def test_duplicates_are_found():
    rules = shipped().rules[Family.FORBID][:40:4]
    copied = [rule.model_copy(update={"id": f"zz-{rule.id}"}) for rule in rules]
    told = [f.line() for f in faults_of(with_rules(Family.FORBID, *copied))]
    for rule in rules:
        assert any(f'"zz-{rule.id}"' in f and f'says the same as "{rule.id}"' in f for f in told)


def test_offers_that_are_always_forbidden_are_found():
    """An interlock on any state of the specimen shuts a method out for good."""
    offers = shipped().rules[Family.OFFER][:40:4]
    methods = sorted({next(iter(o.conclusions()))["offer"]["method"][0] for o in offers})
    always = {"when": ({"specimen": {"taxon": "$t"}},), "then": {"forbid": {"method": methods}}}
    first = shipped().rules[Family.FORBID][0]
    rule = first.model_copy(update={"id": "zz-forbid-always", **always})
    found = [f for f in faults_of(with_rules(Family.FORBID, rule)) if "always" in f.message]
    for method in methods:
        assert any("always forbidden" in f.message and method in f.message for f in found), method
    assert all(f.where.file and f.where.line for f in found)
