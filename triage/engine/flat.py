"""Rules as bits: which of them fire is told by a few operations on whole numbers.

Nearly every rule is flat: it looks at most at one fact of each kind, and its variables only say
that a reading belongs to its finding. Each flat rule is one bit. Each value of each field lets
some of them pass, and what passes every field of every fact has fired. Absences are bits behind
those of the rules; where one is left standing, its rule has not fired after all.

This holds where the facts are about one finding: the specimen, the bench, one finding with its
readings, states and closed stages. Tests hold it equal to the indexed rules.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence

from triage.engine.facts import Fact, Varied
from triage.engine.normal import NormalRule, Pattern

Table = tuple[str, dict[str, int], int]
# Of these kinds there is one fact where one finding is looked at.
SINGLE = frozenset({"specimen", "bench", "finding"})
# What says of a reading that it belongs to its finding: the same for all facts at hand.
SHARED = {
    ("finding", "id"): "finding",
    ("reading", "finding"): "finding",
    ("finding", "zone"): "zone",
    ("reading", "zone"): "zone",
}
# More facts than one case has; beyond it the store starts anew.
KEPT = 512


def is_flat(rule: NormalRule) -> bool:
    """Return whether a rule can be told by bits; it must look at one finding at a time."""
    positive = [pattern.kind for pattern in rule.patterns if not pattern.absent]
    if len(set(positive)) < len(positive):
        return False
    roles: dict[str, object] = {}
    for place, pattern in enumerate(rule.patterns):
        for name, variable in pattern.variables:
            own = (pattern.kind, name, None if pattern.kind in SINGLE else place)
            role = SHARED.get((pattern.kind, name), own)
            if roles.setdefault(variable, role) != role:
                return False
    return all(
        roles.get(variable) == name and name in ("finding", "zone")
        for template in rule.templates
        for name, variable in template.variables
    )


class KindBits:
    """What the facts of one kind let pass."""

    def __init__(self, every: int, asked: Sequence[tuple[int, Pattern]]) -> None:
        self.every = every
        # What asks nothing of this kind passes without any fact of it.
        self.free = every & ~sum(1 << bit for bit, _ in asked)
        fields: dict[str, dict[int, frozenset[str]]] = {}
        for bit, pattern in asked:
            for name, values in pattern.allowed:
                known = fields.setdefault(name, {})
                known[bit] = known[bit] & values if bit in known else values
        self.tables: dict[str, tuple[dict[str, int], int]] = {}
        for name, by_bit in sorted(fields.items()):
            other = every & ~sum(1 << bit for bit in by_bit)
            by_value: dict[str, int] = {}
            for bit, values in by_bit.items():
                for value in values:
                    by_value[value] = by_value.get(value, other) | 1 << bit
            self.tables[name] = by_value, other
        self.rows: tuple[Table, ...] = tuple((n, v, o) for n, (v, o) in self.tables.items())
        self._met: dict[int, tuple[Fact, int]] = {}
        self._others: dict[tuple[int, str], tuple[Fact, int]] = {}

    def value(self, name: str, value: str) -> int:
        """Return what one value of one field lets pass."""
        if name not in self.tables:
            return self.every
        by_value, other = self.tables[name]
        return by_value.get(value, other)

    def without(self, names: Iterable[str]) -> KindBits:
        """Return the same without some fields, which are then asked for with ``value``."""
        gone = frozenset(names)
        made = KindBits(self.every, ())
        made.free = self.free
        made.tables = {name: table for name, table in self.tables.items() if name not in gone}
        made.rows = tuple((n, v, o) for n, (v, o) in made.tables.items())
        return made

    def of(self, fields: Mapping[str, str]) -> int:
        """Return what one fact lets pass."""
        bits = self.every
        for name, by_value, other in self.rows:
            bits &= by_value.get(fields[name], other)
        return bits

    def of_fact(self, fact: Fact) -> int:
        """Return what one fact lets pass; the same object is asked about again and again."""
        known = self._met.get(id(fact))
        if known is not None and known[0] is fact:
            return known[1]
        if len(self._met) >= KEPT:
            self._met.clear()
        if type(fact) is Varied:
            bits = self._beside(fact.base, fact.name) & self.value(
                fact.name, fact.fields[fact.name]
            )
        else:
            bits = self.of(fact.fields)
        self._met[id(fact)] = fact, bits
        return bits

    def _beside(self, base: Fact, name: str) -> int:
        """Return what all fields of a fact but one let pass."""
        if name not in self.tables:
            return self.of_fact(base)
        key = (id(base), name)
        known = self._others.get(key)
        if known is not None and known[0] is base:
            return known[1]
        if len(self._others) >= KEPT:
            self._others.clear()
        bits, fields = self.every, base.fields
        for other_name, by_value, other in self.rows:
            if other_name != name:
                bits &= by_value.get(fields[other_name], other)
        self._others[key] = base, bits
        return bits

    def of_any(self, facts: Iterable[Mapping[str, str]]) -> int:
        """Return what several facts, or none, let pass."""
        bits = self.free
        for fields in facts:
            bits |= self.of(fields)
        return bits


class FlatRules:
    """The flat ones of some rules, a bit each; ``rest`` are the others, to be joined."""

    def __init__(self, rules: Iterable[NormalRule]) -> None:
        rules = tuple(rules)
        self.rules = tuple(rule for rule in rules if is_flat(rule))
        self.rest = tuple(rule for rule in rules if not is_flat(rule))
        self.count = len(self.rules)
        self.all = (1 << self.count) - 1
        asked: dict[str, list[tuple[int, Pattern]]] = {}
        self._stopped: list[int] = []
        self._absences = [0] * self.count
        for bit, rule in enumerate(self.rules):
            for pattern in rule.patterns:
                at = bit
                if pattern.absent:
                    at = self.count + len(self._stopped)
                    self._stopped.append(1 << bit)
                    self._absences[bit] |= 1 << at
                asked.setdefault(pattern.kind, []).append((at, pattern))
        self.every = (1 << (self.count + len(self._stopped))) - 1
        self._kinds = {kind: KindBits(self.every, pairs) for kind, pairs in asked.items()}
        self._none = KindBits(self.every, ())

    def kind(self, kind: str) -> KindBits:
        """Return what the facts of a kind let pass."""
        return self._kinds.get(kind, self._none)

    def those(self, wanted: Callable[[NormalRule], bool]) -> int:
        """Return the bits of some rules, with those of their absences."""
        bits = 0
        for bit, rule in enumerate(self.rules):
            if wanted(rule):
                bits |= 1 << bit | self._absences[bit]
        return bits

    def fired(self, passed: int) -> int:
        """Return the rules that fired, from what passed every fact."""
        standing = passed >> self.count
        if standing:
            for place in ones(standing):
                passed &= ~self._stopped[place]
        return passed & self.all


def ones(bits: int) -> Iterator[int]:
    """Yield the places of the bits that are set, the lowest first."""
    while bits:
        low = bits & -bits
        yield low.bit_length() - 1
        bits ^= low
