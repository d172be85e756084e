"""Every case that stands beside a rule, and each rule alone in experta against the pure form."""

from dataclasses import replace
from functools import cache

from tests.support.knowledge import consultant, each, shipped
from triage.engine.build import build_engine
from triage.engine.consult import Consultant
from triage.engine.normal import NormalRule
from triage.engine.plain import evaluate
from triage.engine.rulecases import facts_of_case, failed_cases

RULES = {rule.id: (family, rule) for family, rules in shipped().rules.items() for rule in rules}


@cache
def normal() -> dict[str, NormalRule]:
    return {rule.id: rule for rules in consultant().normal.by_family.values() for rule in rules}


@each(RULES)
def test_rule_alone_in_experta(rule_id):
    """Built alone into an engine, a rule concludes what the pure form concludes, case by case."""
    rule = normal()[rule_id]
    engine = build_engine("Alone", (rule,))
    for case in RULES[rule_id][1].cases:
        facts = facts_of_case(consultant(), rule, case)
        assert engine.consult(facts) == evaluate((rule,), facts)


def test_every_case_beside_a_rule_comes_out():
    assert sum(len(rule.cases) for _, rule in RULES.values()) > len(RULES)
    assert failed_cases(consultant()) == []


def test_a_wrong_case_is_reported_with_its_place():
    """A case that expects the opposite must be reported, or all of the above could not fail."""
    family, rule = next(iter(RULES.values()))
    other = {"fires": "silent", "silent": "fires"}
    flipped = [case.model_copy(update={"expect": other[case.expect]}) for case in rule.cases]
    held = shipped().rules
    wrong = rule.model_copy(update={"cases": tuple(flipped)})
    rules = {**held, family: (wrong, *held[family][1:])}
    faults = failed_cases(Consultant(replace(shipped(), rules=rules)))
    assert len(faults) == len(flipped)
    assert faults[0].where.file.endswith("signs.yaml")
    assert faults[0].where.line
