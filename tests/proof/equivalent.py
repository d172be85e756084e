"""Whether a change of the rules changes anything: an exact search for a case that tells them apart.

A rule that says of a case no more than others already say can be dropped without any effect; that
is worked out here, not listed by hand. Where a case tells the two apart, it is returned.
"""

import itertools
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from triage.check.reachable import reachable_domains, reading_facts
from triage.check.sets import SINGLE, Clause, Domains, demands, escape
from triage.engine.consult import Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.normal import NormalRule, Pattern
from triage.engine.plain import evaluate
from triage.knowledge.book import ATTRIBUTES, Knowledge
from triage.knowledge.rules import Family

# The lists of methods of a conclusion.
NAMED = frozenset({"method", "earlier", "later"})
# Families whose conclusions are sets: saying the same twice changes nothing.
SETS = (Family.GATE, Family.FORBID, Family.OFFER, Family.ORDER)
Values = Mapping[tuple[str, str], frozenset[str]]
SAME_PLACE = {("reading", "zone"): ("finding", "zone")}


class Box(NamedTuple):
    """All cases in which a rule says one thing of one method."""

    said: tuple[object, ...]
    kinds: frozenset[str]
    values: Values


Entries = dict[str, frozenset[str]]
Changed = list[tuple[NormalRule | None, NormalRule | None]]


def changed_entries(sound: Knowledge, broken: Knowledge) -> Entries:
    """Return kind -> the entries that are not the same; the judgement counts as one of them."""
    found = {}
    for kind, attribute in ATTRIBUTES.items():
        before, after = getattr(sound, attribute), getattr(broken, attribute)
        if before is not after:
            names = (*before, *after)
            found[kind] = frozenset(n for n in names if before.get(n) is not after.get(n))
    if sound.judgement is not broken.judgement:
        found["judgement"] = frozenset({"judgement"})
    return found


def changed_rules(sound: Consultant, broken: Consultant) -> Changed:
    """Return each rule that does not come down to the same, as it was and as it is."""
    before, after = (
        {rule.id: rule for rules in each.normal.by_family.values() for rule in rules}
        for each in (sound, broken)
    )
    pairs = [(before.get(name), after.get(name)) for name in {**before, **after}]
    return [(old, new) for old, new in pairs if _meaning(old) != _meaning(new)]


def says_otherwise(rules: Changed, facts: tuple[Fact, ...]) -> bool:
    """Return whether a changed rule says something else of some facts, or may do so later."""
    try:
        return any(_said(old, facts) != _said(new, facts) for old, new in rules)
    except KeyError:  # facts from before recognition
        return True


def _said(rule: NormalRule | None, facts: tuple[Fact, ...]) -> frozenset[Conclusion]:
    return frozenset(evaluate((rule,), facts) if rule else ())


def _meaning(rule: NormalRule | None) -> object:
    return rule and (tuple(_met(rule, pattern) for pattern in rule.patterns), rule.templates)


def _met(rule: NormalRule, pattern: Pattern) -> Pattern:
    """Return a pattern without the values of which the rule says itself that they are absent.

    They stand there so that the question counts as read: only its open answer meets both.
    """
    gone = dict(
        other.allowed[0]
        for other in rule.patterns
        if other.absent and other.kind == pattern.kind and len(other.allowed) == 1
        if not pattern.absent and {*other.variables} <= {*pattern.variables}
    )
    allowed = tuple((n, held - gone.get(n, frozenset())) for n, held in pattern.allowed)
    return replace(pattern, allowed=allowed)


def told_apart(first: Consultant, second: Consultant) -> Values | None:
    """Return values of a case about which two rulebases say different things, None if none.

    Exact in one direction: None is only returned if no case at all tells them apart. Values that
    are returned may still be such as no case can have together.
    """
    domains = reachable_domains(first)
    for family, rules in first.normal.by_family.items():
        others = second.normal.by_family[family]
        for mine, theirs in ((rules, others), (others, rules)):
            changed = [rule for rule in mine if rule not in theirs]
            if changed and family not in SETS:
                return {}
            for rule in changed:
                for box in _boxes(rule, domains):
                    found = _outside(first, box, theirs, domains)
                    if found is not None:
                        return found
    return None


def _boxes(rule: NormalRule, domains: Domains) -> Iterator[Box]:
    """Yield what a rule says, one method at a time, with the cases in which it says it."""
    values: dict[tuple[str, str], frozenset[str]] = {}
    for pattern in rule.patterns:
        for name, allowed in demands(pattern, domains).items():
            field = SAME_PLACE.get((pattern.kind, name), (pattern.kind, name))
            values[field] = values.get(field, allowed) & allowed
    kinds = frozenset(pattern.kind for pattern in rule.patterns)
    for template in rule.templates:
        plain = tuple(c for c in template.constants if c[0] not in NAMED)
        named = [[(name, m) for m in held] for name, held in template.constants if name in NAMED]
        scope = tuple(sorted(name for name, _ in template.variables))
        for what in itertools.product(*named):
            yield Box((template.kind, plain, what, scope), kinds, values)


def _is_plain(rule: NormalRule) -> bool:
    """Return whether a rule reads at most one fact of each kind, and no absence."""
    kinds = [pattern.kind for pattern in rule.patterns if pattern.kind not in SINGLE]
    return len(set(kinds)) == len(kinds) and not any(p.absent for p in rule.patterns)


def _outside(
    consultant: Consultant, box: Box, rules: Iterable[NormalRule], domains: Domains
) -> Values | None:
    """Return a case inside a box in which none of some rules says the same, None if none."""
    clauses: list[Clause] = []
    for rule in rules:
        if not _is_plain(rule) or not {p.kind for p in rule.patterns} <= box.kinds | SINGLE:
            continue
        clauses += [
            tuple(sorted(other.values.items(), key=lambda pair: pair[0]))
            for other in _boxes(rule, domains)
            if _includes(other.said, box.said)
        ]
    for narrowed in _narrowed(consultant, {**domains, **box.values}, box.kinds):
        found = escape(clauses, narrowed)
        if found is not None:
            telling = {field for clause in clauses for field, _ in clause}
            return {field: found[field] for field in telling} or box.values
    return None


def _includes(mine: tuple[object, ...], theirs: tuple[object, ...]) -> bool:
    """Return whether what is said includes another saying: of the whole case, or of its finding."""
    return mine[:-1] == theirs[:-1] and set(mine[-1]) <= set(theirs[-1]) <= {  # type: ignore[call-overload]
        *mine[-1],  # type: ignore[misc]
        "finding",
    }


def _narrowed(
    consultant: Consultant, values: Values, kinds: frozenset[str]
) -> Iterator[dict[tuple[str, str], frozenset[str]]]:
    """Yield the values that can come together, group by group and reading by reading."""
    grades = tuple(consultant.knowledge.fragility)
    facts = reading_facts(consultant) if "reading" in kinds else ()
    for taxon in sorted(values["specimen", "taxon"]):
        frail = frozenset(grades[consultant.floor_of_group(taxon) :])
        held = {**values, ("specimen", "taxon"): frozenset({taxon})}
        for kind in ("specimen", "finding"):
            held[kind, "fragility"] = values[kind, "fragility"] & frail
        if not all(held.values()):
            continue
        if not facts:
            yield held
        for fact in facts:
            read = {
                ("reading", n): frozenset({v}) & held["reading", n] for n, v in fact.fields.items()
            }
            if all(read.values()):
                yield {**held, **read}
