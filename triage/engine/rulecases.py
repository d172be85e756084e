"""Run the cases that stand beside each rule: given facts, the rule must fire or stay silent."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any

from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.normal import NormalRule
from triage.engine.plain import evaluate
from triage.engine.vocabulary import NONE, UNKNOWN, Slot
from triage.errors import TriageError, did_you_mean
from triage.knowledge.rules import Rule, RuleCase

# What a case may name beside facts: a method in any place of a conclusion, or in a certain one.
METHODS = ("method", "earlier", "later")


def _default(slot: Slot) -> str:
    if slot.askable:
        return UNKNOWN
    if slot.values is None:
        return "f1"
    if NONE in slot.values:
        return NONE
    return slot.values[0]


def facts_of_case(consultant: Consultant, rule: NormalRule, case: RuleCase) -> tuple[Fact, ...]:
    """Return the facts of a rule case; what the rule reads but the case leaves out is unknown."""
    kinds = consultant.vocabulary.kinds
    given = facts_given(case)
    for name in set(METHODS) & set(case.given):
        if (method := case.given[name]) not in consultant.knowledge.methods:
            mend = did_you_mean(str(method), consultant.knowledge.methods)
            raise TriageError(f'unknown method "{method}"', mend=mend)
    for kind in given:
        if kind not in kinds:
            raise TriageError(f'unknown kind of fact "{kind}"', mend=did_you_mean(kind, kinds))
    facts: list[Fact] = []
    singles = ("specimen", "bench", "finding")
    needed = {p.kind for p in rule.patterns if not p.absent and p.kind in singles}
    for kind in sorted(needed | set(given)):
        rows: Any = given.get(kind, {})
        for index, row in enumerate(rows if isinstance(rows, list | tuple) else [rows]):
            facts.append(_fact(kinds[kind], kind, row, index))
    return tuple(facts)


def _fact(slots: Mapping[str, Slot], kind: str, row: Mapping[str, Any], index: int) -> Fact:
    for name, value in row.items():
        if name not in slots:
            raise TriageError(f'{kind} has no field "{name}"', mend=did_you_mean(name, slots))
        values = slots[name].values
        if values is not None and value != UNKNOWN and value not in values:
            raise TriageError(
                f'{kind}.{name} is never "{value}"', mend=did_you_mean(str(value), values)
            )
    fields = {name: str(row.get(name, _default(slot))) for name, slot in slots.items()}
    return Fact(kind, f"{kind}-{index}", fields)


def facts_given(case: RuleCase) -> dict[str, Any]:
    """Return what a case says of facts, kind by kind, the methods that it names left out."""
    return {kind: fields for kind, fields in case.given.items() if kind not in METHODS}


def fires(conclusions: Iterable[Conclusion], given: Mapping[str, Any]) -> bool:
    """Return whether any conclusion was drawn, of the methods that a case names if it names any."""
    return any(_is_about(conclusion, given) for conclusion in conclusions)


def _is_about(conclusion: Conclusion, given: Mapping[str, Any]) -> bool:
    method = given.get("method")
    if method is not None and all(method not in (conclusion.get(n) or ()) for n in METHODS):
        return False
    return all(given[name] in (conclusion.get(name) or ()) for name in METHODS[1:] if name in given)


def failed_cases(consultant: Consultant) -> list[TriageError]:
    """Return a fault for each rule case that does not come out as written."""
    faults: list[TriageError] = []
    for family, rules in consultant.knowledge.rules.items():
        normal = {rule.id: rule for rule in consultant.normal.by_family[family]}
        for rule in rules:
            faults += _failed(consultant, rule, normal[rule.id])
    return faults


def _failed(consultant: Consultant, rule: Rule, normal: NormalRule) -> list[TriageError]:
    faults = []
    for number, case in enumerate(rule.cases, start=1):
        try:
            facts = facts_of_case(consultant, normal, case)
        except TriageError as fault:
            where = consultant.knowledge.where("rule", rule.id, "cases", number - 1)
            faults.append(TriageError(f"case {number}: {fault.message}", where, fault.mend))
            continue
        found = fires(evaluate((normal,), facts), case.given)
        if found != (case.expect == "fires"):
            where = consultant.knowledge.where("rule", rule.id, "cases", number - 1)
            said = "fired" if found else "stayed silent"
            faults.append(
                TriageError(
                    f"case {number}: expected {case.expect}, but the rule {said}",
                    where,
                    "correct the rule or the case",
                )
            )
    return faults
