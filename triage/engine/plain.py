"""The rules as a pure function: the same normal form, joined directly, without an agenda.

It serves the second lock of the planner, what-if questions and the exhaustive sweep; tests
hold it against experta and against a third engine.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

from triage.engine.facts import Conclusion, Fact, sorted_conclusions
from triage.engine.normal import NormalRule, Pattern, Template

Binding = Mapping[str, str]
Match = tuple[Binding, tuple[Fact, ...]]


def by_kind(facts: Iterable[Fact]) -> dict[str, list[Fact]]:
    """Return facts grouped by kind, in the order given."""
    grouped: dict[str, list[Fact]] = {}
    for fact in facts:
        grouped.setdefault(fact.kind, []).append(fact)
    return grouped


def fits(pattern: Pattern, fact: Fact, binding: Binding) -> dict[str, str] | None:
    """Return the new bindings if the fact meets the pattern under ``binding``, else None."""
    fields = fact.fields
    for name, allowed in pattern.allowed:
        if fields[name] not in allowed:
            return None
    added: dict[str, str] = {}
    for name, variable in pattern.variables:
        value = fields[name]
        bound = binding.get(variable, added.get(variable))
        if bound is None:
            added[variable] = value
        elif bound != value:
            return None
    return added


def matches(rule: NormalRule, grouped: Mapping[str, Sequence[Fact]]) -> list[Match]:
    """Return every way in which the facts meet the rule, in fact order."""
    found: list[Match] = [({}, ())]
    for pattern in rule.patterns:
        if pattern.absent:
            continue
        facts = grouped.get(pattern.kind, ())
        found = [
            ({**binding, **added}, (*matched, fact))
            for binding, matched in found
            for fact in facts
            if (added := fits(pattern, fact, binding)) is not None
        ]
        if not found:
            return []
    for pattern in rule.patterns:
        if pattern.absent:
            facts = grouped.get(pattern.kind, ())
            found = [
                match
                for match in found
                if not any(fits(pattern, fact, match[0]) is not None for fact in facts)
            ]
    return found


def conclude(template: Template, rule_id: str, match: Match) -> Conclusion:
    """Return the conclusion that a template draws from one match."""
    binding, matched = match
    bound = tuple((name, binding[variable]) for name, variable in template.variables)
    fields = tuple(sorted((*template.constants, *bound), key=lambda pair: pair[0]))
    return Conclusion(template.kind, rule_id, fields, tuple(fact.key for fact in matched))


def evaluate(rules: Iterable[NormalRule], facts: Iterable[Fact]) -> tuple[Conclusion, ...]:
    """Return all conclusions of one family of rules over these facts, sorted."""
    grouped = by_kind(facts)
    return sorted_conclusions(
        conclude(template, rule.id, match)
        for rule in rules
        for match in matches(rule, grouped)
        for template in rule.templates
    )
