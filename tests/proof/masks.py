"""Which rules each fact lets through, as the bits of one number.

Where a case holds one specimen, one bench and one finding, a rule fires exactly if every kind of
fact that it reads lets it through. So the rules that fire for a combination are the bits that the
masks of its facts share, and a combination costs a few operations on whole numbers.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from functools import reduce
from operator import or_

from triage.engine.facts import Fact
from triage.engine.normal import NormalRule, Pattern
from triage.engine.plain import fits

# Fields that have one value in all facts of a case with one finding: variables over them agree.
ALIKE = (
    frozenset({("finding", "id"), ("reading", "finding")}),
    frozenset({("finding", "zone"), ("reading", "zone")}),
)
# What a conclusion may take over by variable without depending on more than the masks and the
# readings: the finding and its zone are only names, the readings are told apart beside the masks.
CARRIED = frozenset({("reading", "deposit"), ("reading", "standing"), *ALIKE[0], *ALIKE[1]})
NAMED = frozenset({"method", "earlier", "later"})


class Masks:
    """The rules of some families as bits, and for each kind of fact the conditions on it."""

    def __init__(self, rules: Iterable[NormalRule]) -> None:
        self.rules = tuple(rules)
        self.bits = {rule.id: 1 << place for place, rule in enumerate(self.rules)}
        self.every = (1 << len(self.rules)) - 1
        self.parts: dict[str, list[tuple[int, list[Pattern], list[Pattern]]]] = {}
        for rule in self.rules:
            for kind in {p.kind for p in rule.patterns}:
                there = [p for p in rule.patterns if p.kind == kind and not p.absent]
                absent = [p for p in rule.patterns if p.kind == kind and p.absent]
                self.parts.setdefault(kind, []).append((self.bits[rule.id], there, absent))

    def mask(self, kind: str, facts: Sequence[Fact]) -> int:
        """Return the rules that all facts of one kind let through, and those not reading it."""
        mask = self.every
        for bit, there, absent in self.parts.get(kind, ()):
            met = all(_any_fits(pattern, facts) for pattern in there)
            if not met or any(_any_fits(pattern, facts) for pattern in absent):
                mask &= ~bit
        return mask

    def of(self, rules: Iterable[NormalRule]) -> int:
        """Return the bits of some of the rules."""
        return reduce(or_, (self.bits[rule.id] for rule in rules), 0)

    def naming(self, method: str) -> int:
        """Return the rules that conclude something of a method."""
        return self.of(rule for rule in self.rules if method in methods_of(rule))

    def fired(self, mask: int) -> tuple[NormalRule, ...]:
        """Return the rules whose bits a mask holds."""
        return tuple(rule for rule in self.rules if self.bits[rule.id] & mask)

    def entangled(self) -> tuple[NormalRule, ...]:
        """Return the rules for which masks are not enough.

        They join facts over a field that may differ between facts of one case, or carry over more
        than the name of the finding, its zone or its reading.
        """
        return tuple(rule for rule in self.rules if _is_entangled(rule))


def _any_fits(pattern: Pattern, facts: Sequence[Fact]) -> bool:
    return any(fits(pattern, fact, {}) is not None for fact in facts)


def _is_entangled(rule: NormalRule) -> bool:
    uses: dict[str, list[tuple[int, tuple[str, str]]]] = {}
    for place, pattern in enumerate(rule.patterns):
        for field, variable in pattern.variables:
            uses.setdefault(variable, []).append((place, (pattern.kind, field)))
    carried = {variable for t in rule.templates for _, variable in t.variables}
    for variable, used in uses.items():
        fields = {field for _, field in used}
        if len({place for place, _ in used}) > 1 and not any(fields <= alike for alike in ALIKE):
            return True
        if variable in carried and not fields <= CARRIED:
            return True
    return False


def methods_of(rule: NormalRule) -> frozenset[str]:
    """Return the methods that a rule concludes something of."""
    return frozenset(
        method
        for template in rule.templates
        for name, held in template.constants
        if name in NAMED
        for method in held
    )
