"""The cases beside the rules reach every rule and every single condition, and a gap shows."""

from __future__ import annotations

from dataclasses import replace

import pytest

from tests.proof.coverage import coverage_of, suggested_case
from tests.proof.equivalent import changed_rules, told_apart
from tests.support.knowledge import consultant, shipped
from tests.support.sweeping import needed, reached
from triage.engine.consult import Consultant
from triage.knowledge.rules import Family, RuleCase


def with_cases(rule, *cases: RuleCase) -> Consultant:
    knowledge = shipped()
    family = next(f for f, rules in knowledge.rules.items() if rule in rules)
    made = rule.model_copy(update={"cases": cases})
    rules = tuple(made if r is rule else r for r in knowledge.rules[family])
    return Consultant(replace(knowledge, rules={**knowledge.rules, family: rules}))


def without(rule) -> Consultant:
    knowledge = shipped()
    rules = {f: tuple(r for r in held if r is not rule) for f, held in knowledge.rules.items()}
    return Consultant(replace(knowledge, rules=rules))


def test_every_rule_and_every_condition_is_covered():
    """As a whole number: 100 % of the rules, both ways, and of the conditions, each alone."""
    found = reached()
    assert [(c.rule.id, c.name) for c in found.missing] == []
    assert found.fired == found.silenced == found.rules == sum(map(len, shipped().rules.values()))
    assert found.covered == found.conditions - len(found.impossible)
    assert found.conditions > 600


def test_every_rule_is_needed_in_a_case_or_adds_only_its_reason():
    found = needed()
    assert found.missing == []
    assert found.needed + len(found.reasons) == found.rules


@pytest.mark.parametrize("place", range(0, 80, 16))
def test_a_condition_without_a_case_is_missed_and_one_is_suggested(place):
    """Each silent case that stood alone for a condition is taken out; the suggestion covers it."""
    rule = shipped().rules[Family.FORBID][place]
    fires = tuple(case for case in rule.cases if case.expect == "fires")
    broken = with_cases(rule, *fires)
    found = coverage_of(broken)
    mine = [c for c in found.missing if c.rule.id == rule.id]
    assert mine
    assert found.unsilenced == [rule.id]
    suggested = [suggested_case(broken, condition) for condition in mine]
    assert all(suggested)
    cases = [RuleCase(given=given, expect="silent") for given in suggested]
    assert coverage_of(with_cases(rule, *fires, *cases)).missing == []


def test_what_is_implied_by_the_other_conditions_is_worked_out():
    """Every condition counted as impossible: the rule without it comes down to the same."""
    impossible = reached().impossible
    assert impossible
    for condition in impossible:
        lacking = condition.without.model_copy(update={"id": condition.rule.id})
        rules = {
            family: tuple(lacking if r is condition.rule else r for r in held)
            for family, held in shipped().rules.items()
        }
        broken = Consultant(replace(shipped(), rules=rules))
        assert not changed_rules(consultant(), broken), (condition.rule.id, condition.name)


# -- rules that change nothing --------------------------------------------------------------------


def test_a_rule_that_only_adds_its_reason_is_told_apart_by_no_case():
    for rule_id in needed().reasons[::3]:
        assert told_apart(consultant(), without(shipped().rule(rule_id))) is None


@pytest.mark.parametrize("place", range(0, 90, 18))
def test_a_rule_that_is_needed_is_told_apart(place):
    rules = [r for r in shipped().rules[Family.FORBID] if r.id not in needed().reasons]
    rule = rules[place % len(rules)]
    assert told_apart(consultant(), without(rule)) is not None


def test_evidence_is_never_called_needless():
    """Weights add up, so the search does not speak about recognise rules."""
    assert told_apart(consultant(), without(shipped().rules[Family.RECOGNISE][0])) is not None
