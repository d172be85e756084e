"""The meaning of a rule, written down a second time and as plainly as it can be said.

No indexes, no order, no early exit: every choice of facts for the positive conditions is tried,
and a choice counts if all demands hold. It shares no code with the engines.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Sequence

from triage.engine.facts import Conclusion, Fact
from triage.engine.normal import NormalRule


def naive(rules: Iterable[NormalRule], facts: Sequence[Fact]) -> frozenset[Conclusion]:
    found = set()
    for rule in rules:
        positive = [p for p in rule.patterns if not p.absent]
        negative = [p for p in rule.patterns if p.absent]
        for chosen in itertools.product(facts, repeat=len(positive)):
            if any(f.kind != p.kind for f, p in zip(chosen, positive, strict=True)):
                continue
            if any(
                f.fields[name] not in values
                for f, p in zip(chosen, positive, strict=True)
                for name, values in p.allowed
            ):
                continue
            said: dict[str, set[str]] = {}
            for f, p in zip(chosen, positive, strict=True):
                for name, variable in p.variables:
                    said.setdefault(variable, set()).add(f.fields[name])
            if any(len(values) != 1 for values in said.values()):
                continue
            if any(_exists(p, said, facts) for p in negative):
                continue
            for template in rule.templates:
                fields = dict(template.constants)
                for name, variable in template.variables:
                    (fields[name],) = said[variable]
                found.add(
                    Conclusion(
                        template.kind,
                        rule.id,
                        tuple(sorted(fields.items())),
                        tuple(f.key for f in chosen),
                    )
                )
    return frozenset(found)


def _exists(pattern, said, facts) -> bool:
    for fact in facts:
        demands = [fact.kind == pattern.kind]
        if fact.kind == pattern.kind:
            demands += [fact.fields[name] in values for name, values in pattern.allowed]
            own: dict[str, set[str]] = {}
            for name, variable in pattern.variables:
                own.setdefault(variable, set(said.get(variable, ()))).add(fact.fields[name])
            demands += [len(values) == 1 for values in own.values()]
        if all(demands):
            return True
    return False
