"""What unanswered questions could still add to a guard deposit, in bits; for look-ahead.

Each way in which a rule could come to speak for a guard is one bit. The fields of finding and
specimen tell which ways are still open, and two sets of answers that leave the same ways open
leave the same to be added. Tests hold it equal to ``reading.GuardReach``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping
from itertools import product

from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.flat import ones
from triage.engine.reading import Asked, combine
from triage.engine.vocabulary import UNKNOWN

# (ways still open, fields unknown that they ask for)
Opened = tuple[int, int]
# Facts seen lately, and sets of open ways beyond this number start the store anew.
SEEN = 512
KEPT = 50_000


class _Kind:
    """For each field of a kind what a value leaves possible, what it meets, and its own bit."""

    def __init__(
        self, kind: str, ways: tuple[Asked, ...], fields: Mapping[tuple[str, str], int]
    ) -> None:
        self.every = (1 << len(ways)) - 1
        self.rows: list[tuple[str, int, dict[str, int], int]] = []
        for (of, name), bit in fields.items():
            if of != kind:
                continue
            other = self.every
            met: dict[str, int] = defaultdict(int)
            for place, asked in enumerate(ways):
                for pair in asked:
                    if pair[:2] == (of, name):
                        other &= ~(1 << place)
            for place, asked in enumerate(ways):
                for of_, name_, allowed in asked:
                    if (of_, name_) == (of, name):
                        for value in allowed:
                            met[value] |= 1 << place
            by_value = {value: bits | other for value, bits in met.items()}
            self.rows.append((name, bit, by_value, other))
        self._kept: dict[int, tuple[Fact, tuple[int, int, int]]] = {}

    def of(self, fact: Fact) -> tuple[int, int, int]:
        """Return the ways not yet shut, those met, and the fields unknown."""
        known = self._kept.get(id(fact))
        if known is not None and known[0] is fact:
            return known[1]
        possible = met = self.every
        unknown = 0
        fields = fact.fields
        for name, bit, by_value, other in self.rows:
            value = fields[name]
            here = by_value.get(value, other)
            met &= here
            if value == UNKNOWN:
                unknown |= bit
            else:
                possible &= here
        if len(self._kept) >= SEEN:
            self._kept.clear()
        found = possible, met, unknown
        self._kept[id(fact)] = fact, found
        return found


class Openings:
    """What could still speak for each guard; built once per knowledge."""

    def __init__(self, consultant: Consultant) -> None:
        possible = consultant.reach.possible
        pairs = [
            (guard, asked, weight)
            for guard in sorted(consultant.guards)
            for asked, weight in possible.get(guard, {}).items()
        ]
        self.ways = tuple(asked for _, asked, _ in pairs)
        self.weight = tuple(weight for _, _, weight in pairs)
        self.of_guard = dict.fromkeys(sorted(consultant.guards), 0)
        for place, (guard, _, _) in enumerate(pairs):
            self.of_guard[guard] |= 1 << place
        names = sorted({q[:2] for asked in self.ways for q in asked})
        self.fields = {name: 1 << place for place, name in enumerate(names)}
        self.asks = tuple(sum({self.fields[q[:2]] for q in asked}) for asked in self.ways)
        # Of each way the fields in order: whether the unknown would do, and what would.
        self._steps = tuple(
            tuple(
                (self.fields[kind, name], UNKNOWN in allowed, allowed) for kind, name, allowed in w
            )
            for w in self.ways
        )
        of_finding = sum(bit for (kind, _), bit in self.fields.items() if kind == "finding")
        self._of_finding = of_finding
        self._finding = _Kind("finding", self.ways, self.fields)
        self._specimen = _Kind("specimen", self.ways, self.fields)
        self._asked: dict[int, int] = {}
        self._weights: dict[tuple[int, int, bool], tuple[float, ...]] = {}
        self._groups: dict[tuple[int, int, tuple[int, ...]], float] = {}

    def of(self, finding: Fact, specimen: Fact) -> Opened:
        """Return the ways that unanswered questions leave open."""
        possible, met, unknown = self._finding.of(finding)
        also, met_too, unknown_too = self._specimen.of(specimen)
        ways = possible & also & ~(met & met_too)
        return ways, (unknown | unknown_too) & self._fields_of(ways)

    def _fields_of(self, ways: int) -> int:
        found = self._asked.get(ways)
        if found is None:
            found = 0
            for place in ones(ways):
                found |= self.asks[place]
            if len(self._asked) >= KEPT:
                self._asked.clear()
            self._asked[ways] = found
        return found

    def weights(self, guard: str, opened: Opened, *, named: bool) -> tuple[float, ...]:
        """Return the best weight that each unanswered question could add, sorted.

        The open questions about a finding that a person has named add nothing more.
        """
        ways = opened[0] & self.of_guard[guard]
        key = (ways, opened[1] & self._fields_of(ways), named)
        found = self._weights.get(key)
        if found is None:
            if len(self._weights) >= KEPT:
                self._weights.clear()
            found = self._weights[key] = self._best(ways, key[1], named=named)
        return found

    def _best(self, ways: int, unknown: int, *, named: bool) -> tuple[float, ...]:
        groups: dict[tuple[int, ...], int] = {}
        for place in ones(ways):
            asked = tuple([bit for bit, met, _ in self._steps[place] if bit & unknown and not met])
            if not (named and any(bit & self._of_finding for bit in asked)):
                groups[asked] = groups.get(asked, 0) | 1 << place
        return tuple(sorted([self._group(unknown, mine, asked) for asked, mine in groups.items()]))

    def _group(self, unknown: int, ways: int, asked: tuple[int, ...]) -> float:
        """Return the most that one set of answers to the same questions could add."""
        key = (ways, unknown & self._fields_of(ways), asked)
        found = self._groups.get(key)
        if found is None:
            # One answer can meet several rules, and their weights add up.
            adds: dict[tuple[str, ...], list[float]] = {}
            for place in ones(ways):
                sets = [allowed for bit, _, allowed in self._steps[place] if bit & unknown]
                for answers in product(*sets):
                    adds.setdefault(answers, []).append(self.weight[place])
            if len(self._groups) >= KEPT:
                self._groups.clear()
            found = self._groups[key] = max(combine(w) for w in adds.values())
        return found
