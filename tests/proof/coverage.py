"""How far the cases beside the rules reach: every rule both ways, every single condition alone.

A condition is covered by a case in which the rule stays silent but would fire without it: there
this condition alone keeps the rule silent. A condition that no facts can single out (the others
imply it) is counted apart, and that is worked out, not listed.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field, replace
from itertools import chain
from typing import Any

from triage.check.reachable import reachable_domains
from triage.check.sets import Domains, covers
from triage.engine.consult import Consultant
from triage.engine.normal import NormalRule, normalise
from triage.engine.plain import evaluate
from triage.engine.rulecases import METHODS, facts_of_case, fires
from triage.errors import TriageError
from triage.knowledge.rules import Family, Rule, RuleCase

# Between the id of a rule and the number of the condition that its variant lacks.
LACKS = "~"
FREE = "-elsewhere"


@dataclass(frozen=True, slots=True)
class Condition:
    """One condition of a rule as it is written, and the rule without it."""

    rule: Rule
    family: Family
    name: str
    without: Rule


@dataclass
class Coverage:
    """Whole numbers: rules, those that some case fires and silences, conditions, those alone."""

    rules: int = 0
    fired: int = 0
    silenced: int = 0
    conditions: int = 0
    covered: int = 0
    impossible: list[Condition] = field(default_factory=list)
    missing: list[Condition] = field(default_factory=list)
    unfired: list[str] = field(default_factory=list)
    unsilenced: list[str] = field(default_factory=list)

    def is_whole(self) -> bool:
        """Return whether nothing that could be covered is left out."""
        return not (self.missing or self.unfired or self.unsilenced)

    def lines(self) -> list[str]:
        """Return the coverage in lines for a person."""
        found = [f"no case fires it: {rule}" for rule in self.unfired]
        found += [f"no case silences it: {rule}" for rule in self.unsilenced]
        found += [f"no case for it alone: {c.rule.id}: {c.name}" for c in self.missing]
        found += [f"implied by the others: {c.rule.id}: {c.name}" for c in self.impossible]
        possible = self.conditions - len(self.impossible)
        fired, silenced = share(self.fired, self.rules), share(self.silenced, self.rules)
        found.append(f"rules that a case fires: {fired}; silences: {silenced}")
        alone, more = share(self.covered, possible), len(self.impossible)
        found.append(
            f"conditions that alone silence their rule in a case: {alone}; {more} more are implied "
            "by the other conditions of their rule"
        )
        return found


def share(part: int, whole: int) -> str:
    """Return a share in words, with whole per cent rounded down: 100 means all."""
    return f"{part} of {whole} ({100 * part // whole if whole else 100} %)"


# -- conditions and the rules without them --------------------------------------------------------


def _is_variable(held: Any) -> bool:
    return isinstance(held, str) and held[:1] in "$?"


def _lacking(rule: Rule) -> Iterator[tuple[str, tuple[Mapping[str, Any], ...]]]:
    """Yield (name, patterns without it) for each condition of a rule."""
    seen: dict[str, str] = {}
    for place, entry in enumerate(rule.when):
        before, after = rule.when[:place], rule.when[place + 1 :]
        if "absent" in entry:
            yield f"absent {next(iter(entry['absent']))}", (*before, *after)
            continue
        kind, fields = next(iter(entry.items()))
        for name, held in (fields or {}).items():
            if not _is_variable(held):
                left = {n: v for n, v in fields.items() if n != name}
                yield f"{kind}.{name}", (*before, {kind: left}, *after)
            elif held in seen and name != "id" and seen[held] != kind:
                # Two facts that must speak of the same thing.
                left = {**fields, name: f"{held}{FREE}"}
                yield f"{kind}.{name} is {held}", (*before, {kind: left}, *after)
            else:
                seen.setdefault(held, kind)


def conditions_of(consultant: Consultant) -> list[Condition]:
    """Return every condition of every rule."""
    found = []
    for family, rules in consultant.knowledge.rules.items():
        for rule in rules:
            for number, (name, when) in enumerate(_lacking(rule)):
                changes = {"id": f"{rule.id}{LACKS}{number}", "when": when}
                found.append(Condition(rule, family, name, rule.model_copy(update=changes)))
    return found


def _normal(consultant: Consultant, conditions: Iterable[Condition]) -> dict[str, NormalRule]:
    """Return the variants brought to normal form, by id."""
    rules: dict[Family, list[Rule]] = {family: [] for family in consultant.knowledge.rules}
    for condition in conditions:
        rules[condition.family].append(condition.without)
    made = {family: tuple(held) for family, held in rules.items()}
    normal = normalise(replace(consultant.knowledge, rules=made))
    return {rule.id: rule for held in normal.by_family.values() for rule in held}


# -- coverage -------------------------------------------------------------------------------------


def coverage_of(consultant: Consultant) -> Coverage:
    """Return the coverage of all rule cases."""
    found = Coverage()
    conditions = conditions_of(consultant)
    variants = _normal(consultant, conditions)
    domains = reachable_domains(consultant)
    originals = {r.id: r for rules in consultant.normal.by_family.values() for r in rules}
    for rule in chain.from_iterable(consultant.knowledge.rules.values()):
        outcomes = {case.expect for case in rule.cases}
        found.rules += 1
        for outcome, left in (("fires", found.unfired), ("silent", found.unsilenced)):
            left.extend([] if outcome in outcomes else [rule.id])
    found.fired = found.rules - len(found.unfired)
    found.silenced = found.rules - len(found.unsilenced)
    for condition in conditions:
        original, variant = originals[condition.rule.id], variants[condition.without.id]
        found.conditions += 1
        if any(_singles_out(consultant, original, variant, c) for c in condition.rule.cases):
            found.covered += 1
        elif _is_implied(original, variant, domains):
            found.impossible.append(condition)
        else:
            found.missing.append(condition)
    return found


def _singles_out(
    consultant: Consultant, original: NormalRule, variant: NormalRule, case: RuleCase
) -> bool:
    """Return whether the rule is silent in a case only because of what its variant lacks."""
    facts = facts_of_case(consultant, original, case)
    return not fires(evaluate((original,), facts), case.given) and fires(
        evaluate((variant,), facts), case.given
    )


def _is_implied(original: NormalRule, variant: NormalRule, domains: Domains) -> bool:
    """Return whether a rule fires wherever it would fire without a condition."""
    return covers(original, replace(variant, id=original.id), domains)


# -- cases that are missing -----------------------------------------------------------------------


def suggested_case(consultant: Consultant, condition: Condition) -> Mapping[str, Any] | None:
    """Return what to give in a case that a condition alone silences, None if none was found.

    One value of a case in which the rule fires is changed, first those of the condition itself.
    """
    original = next(
        r for r in consultant.normal.by_family[condition.family] if r.id == condition.rule.id
    )
    variant = _normal(consultant, [condition])[condition.without.id]
    for case in condition.rule.cases:
        if case.expect != "fires":
            continue
        for given in _edits(consultant, original, case.given, condition.name):
            changed = RuleCase(given=given, expect="silent")
            try:
                if _singles_out(consultant, original, variant, changed):
                    return given
            except TriageError:
                continue
    return None


def suggestion(consultant: Consultant, condition: Condition) -> str:
    """Return the line of a case for a condition, or that none was found."""
    given = suggested_case(consultant, condition)
    if given is None:
        return f"{condition.rule.id}: {condition.name}: no case found by changing one value"
    return f"{condition.rule.id}:     - {{given: {_flow(given)}, expect: silent}}"


def _flow(held: Any) -> str:
    if isinstance(held, Mapping):
        return "{" + ", ".join(f"{name}: {_flow(value)}" for name, value in held.items()) + "}"
    if isinstance(held, list | tuple):
        return "[" + ", ".join(_flow(value) for value in held) + "]"
    return str(held)


def _edits(
    consultant: Consultant, rule: NormalRule, given: Mapping[str, Any], name: str
) -> Iterator[Mapping[str, Any]]:
    """Yield a case with one value changed: what the condition is about, then anything else."""
    fields = [
        (p.kind, f) for p in rule.patterns for f, _ in (*p.allowed, *p.variables) if not p.absent
    ]
    fields.sort(key=lambda pair: f"{pair[0]}.{pair[1]}" != name.split(" ", maxsplit=1)[0])
    for place in METHODS:
        if place in given:
            for method in consultant.knowledge.methods:
                yield {**given, place: method}
    for kind, field_name in dict.fromkeys(fields):
        domain = consultant.vocabulary.domain(kind, field_name) or ("f2",)
        row = given.get(kind, {})
        if isinstance(row, Mapping):
            for value in _nearest_first(domain, row.get(field_name)):
                yield {**given, kind: {**row, field_name: value}}
    for pattern in rule.patterns:
        if pattern.absent and pattern.kind not in given:
            names = dict(pattern.variables)
            row = {n: min(allowed) for n, allowed in pattern.allowed}
            yield {**given, pattern.kind: {**row, **dict.fromkeys(names, "f1")}}


def _nearest_first(domain: tuple[str, ...], value: Any) -> list[str]:
    """Return the values of a field, those that stand next to a given one first."""
    place = domain.index(value) if value in domain else 0
    return sorted(domain, key=lambda other: abs(domain.index(other) - place))
