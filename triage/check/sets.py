"""Conditions as sets: what a rule demands, whether it can be met, and which demands imply which.

Observations are finite enumerations and patterns are sets of values, so each question here has an
exact answer.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from triage.engine.normal import NormalRule, Pattern, Template
from triage.engine.vocabulary import Vocabulary

# Kinds of which every case has exactly one fact.
SINGLE = frozenset({"specimen", "bench"})
Domains = Mapping[tuple[str, str], frozenset[str]]
Said = tuple[object, ...]


def domains_of(vocabulary: Vocabulary) -> dict[tuple[str, str], frozenset[str]]:
    """Return (kind, field) -> all values it may have; open ids are left out."""
    return {
        (kind, field): frozenset(domain)
        for kind, slots in vocabulary.kinds.items()
        for field in slots
        if (domain := vocabulary.domain(kind, field)) is not None
    }


def demands(pattern: Pattern, domains: Domains) -> dict[str, frozenset[str]]:
    """Return field -> values that a pattern allows, among those that can come up at all."""
    return {
        field: allowed & domains.get((pattern.kind, field), allowed)
        for field, allowed in pattern.allowed
    }


def merged(rule: NormalRule, domains: Domains) -> dict[str, list[dict[str, frozenset[str]]]]:
    """Return kind -> the facts a rule needs; patterns on the one specimen or bench become one."""
    needed: dict[str, list[dict[str, frozenset[str]]]] = {}
    for pattern in rule.patterns:
        if pattern.absent:
            continue
        wanted = demands(pattern, domains)
        facts = needed.setdefault(pattern.kind, [])
        if pattern.kind in SINGLE and facts:
            for field, allowed in wanted.items():
                facts[0][field] = facts[0].get(field, allowed) & allowed
        else:
            facts.append(wanted)
    return needed


def never_fires(rule: NormalRule, domains: Domains) -> str:
    """Return why no case can ever meet a rule, empty if one can."""
    needed = merged(rule, domains)
    for kind, facts in needed.items():
        for wanted in facts:
            for field, allowed in wanted.items():
                if not allowed:
                    return f"{kind}.{field} can have none of the values that it needs"
    if clash := _clash(rule, domains):
        return clash
    for pattern in rule.patterns:
        if pattern.absent and pattern.kind in SINGLE:
            known = needed.get(pattern.kind, [{}])[0]
            if all(
                known.get(field, domains[pattern.kind, field]) <= allowed
                for field, allowed in demands(pattern, domains).items()
            ):
                return f"what must be absent of {pattern.kind} is always there"
    return ""


def _clash(rule: NormalRule, domains: Domains) -> str:
    """Return the variable that two places of a rule allow no common value for."""
    shared: dict[str, frozenset[str]] = {}
    for pattern in rule.patterns:
        if pattern.absent:
            continue
        wanted = demands(pattern, domains)
        for field, variable in pattern.variables:
            domain = domains.get((pattern.kind, field))
            allowed = wanted.get(field, domain)
            if allowed is None:
                continue
            shared[variable] = shared.get(variable, allowed) & allowed
            if not shared[variable]:
                return f"${variable} has no value that fits in all places"
    return ""


# -- subsumption ----------------------------------------------------------------------------------


def covers(general: NormalRule, special: NormalRule, domains: Domains) -> bool:
    """Return whether each match of ``special`` is also one of ``general``, with its conclusions.

    Exact for rules without absences; with them only equal absences count.
    """
    if general.family is not special.family:
        return False
    if {p for p in general.patterns if p.absent} != {p for p in special.patterns if p.absent}:
        return False
    mine = [p for p in general.patterns if not p.absent]
    theirs = [p for p in special.patterns if not p.absent]
    return any(
        all(any(_says(t, u, names) for t in general.templates) for u in special.templates)
        for names in _mappings(mine, theirs, {}, domains)
    )


def things_said(rule: NormalRule) -> Iterator[Said]:
    """Yield a key of each thing that a rule says: one that covers it has its first key too."""
    absent = frozenset(p for p in rule.patterns if p.absent)
    for template in rule.templates:
        held = dict(template.constants)
        lists = {name: held.pop(name) for name in sorted(held) if isinstance(held[name], tuple)}
        first = next(iter(lists.values()), ())
        said = (absent, template.kind, frozenset(lists), frozenset(held.items()))
        yield from ((*said, method) for method in (*first, None))


def _mappings(
    mine: Sequence[Pattern], theirs: Sequence[Pattern], names: Mapping[str, str], domains: Domains
) -> Iterator[Mapping[str, str]]:
    """Yield each way to rename variables so that every pattern of mine holds in theirs."""
    if not mine:
        yield names
        return
    first, rest = mine[0], mine[1:]
    for other in theirs:
        renamed = _implied(first, other, names, domains)
        if renamed is not None:
            yield from _mappings(rest, theirs, renamed, domains)


def _implied(
    general: Pattern, special: Pattern, names: Mapping[str, str], domains: Domains
) -> dict[str, str] | None:
    if general.kind != special.kind:
        return None
    wide, narrow = demands(general, domains), demands(special, domains)
    for field, allowed in wide.items():
        if not narrow.get(field, domains[general.kind, field]) <= allowed:
            return None
    theirs = dict(special.variables)
    renamed = dict(names)
    for field, variable in general.variables:
        # A variable of the general rule that nothing else uses may stand for any value.
        other = theirs.get(field, f"{special.kind}.{field}")
        if renamed.setdefault(variable, other) != other:
            return None
    return renamed


def _says(general: Template, special: Template, names: Mapping[str, str]) -> bool:
    """Return whether a conclusion of the general rule includes one of the special rule."""
    if general.kind != special.kind:
        return False
    bound = {field: names.get(variable, variable) for field, variable in general.variables}
    if not bound.items() <= dict(special.variables).items():
        return False
    mine, theirs = dict(general.constants), dict(special.constants)
    # What the general rule says of the whole case it also says of one finding.
    extra = set(dict(special.variables)) - set(bound)
    if set(mine) != set(theirs) or not extra <= {"finding"}:
        return False
    return all(_includes(held, theirs[name]) for name, held in mine.items())


def _includes(mine: object, theirs: object) -> bool:
    if isinstance(mine, tuple) and isinstance(theirs, tuple):
        return set(theirs) <= set(mine)
    return mine == theirs


# -- a way out of all interlocks ------------------------------------------------------------------

Clause = tuple[tuple[tuple[str, str], frozenset[str]], ...]


def escape(
    clauses: Iterable[Clause], domains: Domains
) -> dict[tuple[str, str], frozenset[str]] | None:
    """Return values with which none of the clauses is met in full, None if there are none.

    A clause is met when every one of its fields has one of its values. The search is complete:
    for each clause some field must leave its set, and all choices are tried.
    """
    ordered = sorted({tuple(sorted(c, key=lambda d: d[0])) for c in clauses}, key=len)
    return _escape(ordered, dict(domains))


def _escape(
    clauses: Sequence[Clause], domains: dict[tuple[str, str], frozenset[str]]
) -> dict[tuple[str, str], frozenset[str]] | None:
    for at, clause in enumerate(clauses):
        if any(domains[field].isdisjoint(allowed) for field, allowed in clause):
            continue
        for field, allowed in clause:
            left = domains[field] - allowed
            if left:
                found = _escape(clauses[at + 1 :], {**domains, field: left})
                if found is not None:
                    return found
        return None
    return domains
