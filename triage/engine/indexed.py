"""The join behind the engine and behind ``many``: which conditions a fact meets, by its values.

Each different condition over a kind of fact is one bit. A fact's bits are the intersection, over
its fields, of the bits that allow its value; so the cost of a fact does not grow with the number
of rules that ask about it. Conclusions are made once for each match and kept.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from itertools import count
from typing import Any, Generic, NamedTuple, TypeVar

from triage.engine.facts import Conclusion, Fact, sorted_conclusions
from triage.engine.normal import NormalRule, Pattern, Template

Value = TypeVar("Value")
Key = tuple[object, ...]
Binding = dict[str, str]
Made = tuple[Conclusion, ...]
# A field of a conclusion: its name, its variable, else the constant pair and how that is written.
Slot = tuple[str, str, tuple[str, object] | None, str]
Draft = tuple[str, tuple[Slot, ...]]
Lists = Mapping[str, Mapping[int, Sequence[Fact]]]
# More matches than a bench session makes; beyond it the store starts anew.
KEPT = 20_000
# What a rule may say of one finding.
ABOUT = {"finding": "id", "reading": "finding"}


class _Part(NamedTuple):
    """One pattern of a rule: its kind, the bit of its condition, and its variables."""

    kind: str
    bit: int
    variables: tuple[tuple[str, str], ...]


@dataclass
class _Compiled:
    """One rule with its patterns as bits, and the conclusions it has made so far."""

    rule: NormalRule
    positive: tuple[_Part, ...]
    absent: tuple[_Part, ...]
    # Whether one fact decides: no join, no absence, no variable that must agree.
    alone: bool
    names: tuple[str, ...]
    kinds: frozenset[str]
    drafts: tuple[Draft, ...]
    made: dict[tuple[str, ...], Made] = field(default_factory=dict)


class Conditions:
    """The different conditions over one kind, and the bits that each value of a field meets."""

    def __init__(self) -> None:
        self.bits: dict[tuple[tuple[str, frozenset[str]], ...], int] = {}
        self.tables: tuple[tuple[str, dict[str, int], int], ...] = ()
        self._count = 0
        self._met: dict[int, tuple[int, Fact]] = {}

    def bit(self, pattern: Pattern) -> int:
        """Return the bit of the condition of a pattern."""
        return self.bits.setdefault(pattern.allowed, len(self.bits))

    def _close(self) -> None:
        """Build the tables of all conditions known so far."""
        self._count = len(self.bits)
        self._met.clear()
        fields: dict[str, dict[int, frozenset[str]]] = {}
        for allowed, bit in self.bits.items():
            for name, values in allowed:
                known = fields.setdefault(name, {})
                known[bit] = known[bit] & values if bit in known else values
        every = (1 << len(self.bits)) - 1
        tables = []
        for name, asked in sorted(fields.items()):
            free = every
            for bit in asked:
                free &= ~(1 << bit)
            by_value: dict[str, int] = {}
            for bit, values in asked.items():
                for value in values:
                    by_value[value] = by_value.get(value, free) | 1 << bit
            tables.append((name, by_value, free))
        self.tables = tuple(tables)

    def met(self, fact: Fact) -> int:
        """Return the conditions that a fact meets, as bits."""
        if self._count != len(self.bits):
            self._close()
        # The same fact object is asked about again and again while others beside it vary.
        known = self._met.get(id(fact))
        if known is None:
            # The fact is kept beside it, so that no other can take its identity.
            known = keep(self._met, id(fact), (self._conditions(fact), fact))
        return known[0]

    def _conditions(self, fact: Fact) -> int:
        bits = (1 << len(self.bits)) - 1
        fields = fact.fields
        for name, by_value, free in self.tables:
            bits &= by_value.get(fields.get(name, ""), free)
            if not bits:
                break
        return bits


class RuleIndex:
    """Matches some rules; built once, used for every consultation.

    ``conditions`` are shared with indexes over other rules, so that a fact is looked at once.
    """

    def __init__(
        self, rules: Iterable[NormalRule], conditions: dict[str, Conditions] | None = None
    ) -> None:
        self.conditions = {} if conditions is None else conditions
        # The conditions of these rules, as bits.
        self.mine: dict[str, int] = {}
        self.compiled = tuple(self._compile(rule) for rule in rules)
        self.by_first: dict[str, dict[int, list[_Compiled]]] = {}
        self.by_absence = [c for c in self.compiled if not c.positive]
        for compiled in self.compiled:
            if not compiled.positive:
                continue
            first = compiled.positive[0]
            self.by_first.setdefault(first.kind, {}).setdefault(first.bit, []).append(compiled)
        self.named = {compiled.rule.id: compiled for compiled in self.compiled}
        self._count = 0

    def _compile(self, rule: NormalRule) -> _Compiled:
        positive = tuple(self._part(p) for p in rule.patterns if not p.absent)
        absent = tuple(self._part(p) for p in rule.patterns if p.absent)
        names = [variable for part in positive for _, variable in part.variables]
        alone = len(positive) == 1 and not absent and len(set(names)) == len(names)
        kinds = frozenset(pattern.kind for pattern in rule.patterns)
        drafts = tuple(_draft(template) for template in rule.templates)
        return _Compiled(rule, positive, absent, alone, tuple(dict.fromkeys(names)), kinds, drafts)

    def _part(self, pattern: Pattern) -> _Part:
        bit = self.conditions.setdefault(pattern.kind, Conditions()).bit(pattern)
        self.mine[pattern.kind] = self.mine.get(pattern.kind, 0) | 1 << bit
        return _Part(pattern.kind, bit, pattern.variables)

    def read_fields(self, kind: str) -> tuple[str, ...]:
        """Return the fields of a kind on which any rule of the family depends, sorted."""
        patterns = (p for c in self.compiled for p in c.rule.patterns if p.kind == kind)
        return tuple(sorted({name for p in patterns for name, _ in (*p.allowed, *p.variables)}))

    def met(self, fact: Fact) -> int:
        """Return the conditions of these rules that a fact meets, as bits."""
        mine = self.mine.get(fact.kind)
        return self.conditions[fact.kind].met(fact) & mine if mine else 0

    def lists(self, facts: Iterable[Fact]) -> Lists:
        """Return kind -> condition -> the facts that meet it, in the order given."""
        found: dict[str, dict[int, list[Fact]]] = {}
        for fact in facts:
            bits, by_bit = self.met(fact), found.setdefault(fact.kind, {})
            while bits:
                low = bits & -bits
                by_bit.setdefault(low.bit_length() - 1, []).append(fact)
                bits ^= low
        return found

    def reading(self, kinds: AbstractSet[str]) -> list[str]:
        """Return the rules that read at least one of these kinds of fact."""
        return [c.rule.id for c in self.compiled if not c.kinds.isdisjoint(kinds)]

    def matches(
        self, facts: Iterable[Fact], touched: AbstractSet[str]
    ) -> Iterator[tuple[str, list[tuple[Binding, list[Fact]]]]]:
        """Yield each rule that reads a touched kind of fact with every way to meet it."""
        lists = self.lists(facts)
        for compiled in self._candidates(lists):
            if not compiled.kinds.isdisjoint(touched):
                found = _joined(compiled, lists)
                if found:
                    yield compiled.rule.id, found

    def drawing(self, rule_id: str) -> Callable[[Binding, tuple[str, ...]], Made]:
        """Return what draws the conclusions of a rule from one match."""
        return partial(self._drawn, self.named[rule_id])

    def _drawn(self, compiled: _Compiled, binding: Binding, facts: tuple[str, ...]) -> Made:
        key = (*facts, *[binding[name] for name in compiled.names])
        return compiled.made.get(key) or self._make(compiled, key, binding, facts)

    def evaluate(self, facts: Iterable[Fact]) -> tuple[Conclusion, ...]:
        """Return all conclusions over these facts, each once, in the order of all engines."""
        return sorted_conclusions(self.drawn_unsorted(facts))

    def fired(self, facts: Iterable[Fact]) -> list[str]:
        """Return the rules that at least one choice of these facts meets, in no special order."""
        lists = self.lists(facts)
        return [
            compiled.rule.id
            for compiled in self._candidates(lists)
            if compiled.alone or _joined(compiled, lists)
        ]

    def drawn_unsorted(self, facts: Iterable[Fact]) -> list[Conclusion]:
        """Return all conclusions over these facts in no special order, perhaps some twice."""
        lists = self.lists(facts)
        return [
            conclusion
            for compiled in self._candidates(lists)
            for conclusion in self._conclusions(compiled, lists)
        ]

    def _candidates(self, lists: Lists) -> Iterator[_Compiled]:
        """Yield the rules whose first condition some fact meets, or that have absences only."""
        yield from self.by_absence
        for kind, by_bit in lists.items():
            by_first = self.by_first.get(kind, {})
            for bit in by_bit:
                yield from by_first.get(bit, ())

    def _conclusions(self, compiled: _Compiled, lists: Lists) -> list[Conclusion]:
        found: list[Conclusion] = []
        if compiled.alone:
            kind, bit, variables = compiled.positive[0]
            for fact in lists[kind][bit]:
                fields = fact.fields
                key = (fact.key, *[fields[name] for name, _ in variables])
                made = compiled.made.get(key)
                if made is None:
                    binding = {variable: fields[name] for name, variable in variables}
                    made = self._make(compiled, key, binding, (fact.key,))
                found += made
            return found
        for binding, matched in _joined(compiled, lists):
            facts = tuple([fact.key for fact in matched])
            found += self._drawn(compiled, binding, facts)
        return found

    def _make(
        self, compiled: _Compiled, key: tuple[str, ...], binding: Binding, facts: tuple[str, ...]
    ) -> Made:
        if self._count >= KEPT:
            for other in self.compiled:
                other.made = {}
            self._count = 0
        made = []
        for kind, slots in compiled.drafts:
            fields = tuple([pair or (name, binding[v]) for name, v, pair, _ in slots])
            texts = [
                text or repr(field) for field, (_, _, _, text) in zip(fields, slots, strict=True)
            ]
            text = f"({', '.join(texts)}{',' if len(texts) == 1 else ''})"
            made.append(Conclusion(kind, compiled.rule.id, fields, facts, text))
        kept = compiled.made[key] = tuple(made)
        self._count += 1
        return kept


def _draft(template: Template) -> Draft:
    """Return a conclusion but for its variables; long lists of methods are written out once."""
    slots: list[Slot] = [(name, "", (name, value), "") for name, value in template.constants]
    slots += [(name, variable, None, "") for name, variable in template.variables]
    written = [(n, v, pair, repr(pair) if pair else "") for n, v, pair, _ in slots]
    return template.kind, tuple(sorted(written, key=lambda slot: slot[0]))


def _joined(compiled: _Compiled, lists: Lists) -> list[tuple[Binding, list[Fact]]]:
    """Return every match of one rule: patterns joined in order, then absences taken out."""
    if compiled.alone:
        kind, bit, variables = compiled.positive[0]
        return [
            ({variable: fact.fields[name] for name, variable in variables}, [fact])
            for fact in lists.get(kind, {}).get(bit, ())
        ]
    for part in compiled.positive:
        if part.bit not in lists.get(part.kind, ()):
            return []
    found: list[tuple[Binding, list[Fact]]] = [({}, [])]
    for kind, bit, variables in compiled.positive:
        found = [
            ({**binding, **added}, [*matched, fact])
            for binding, matched in found
            for fact in lists[kind][bit]
            if (added := _agreed(variables, fact, binding)) is not None
        ]
    for kind, bit, variables in compiled.absent:
        facts = lists.get(kind, {}).get(bit, ())
        found = [
            match
            for match in found
            if not any(_agreed(variables, fact, match[0]) is not None for fact in facts)
        ]
    return found


def _agreed(
    variables: tuple[tuple[str, str], ...], fact: Fact, binding: Mapping[str, str]
) -> Binding | None:
    """Return what a fact adds to a binding, None if a variable would take two values."""
    added: Binding = {}
    for name, variable in variables:
        value = fact.fields[name]
        bound = binding.get(variable, added.get(variable))
        if bound is None:
            added[variable] = value
        elif bound != value:
            return None
    return added


class Extent(StrEnum):
    """How much of a case a rule looks at."""

    CASE = "case"
    FINDING = "finding"
    SEVERAL = "several"


def extent_of(rule: NormalRule) -> Extent:
    """Return how much of a case a rule must see: nothing of a finding, one finding, or several."""
    about = [p for p in rule.patterns if p.kind in ABOUT]
    if not about:
        return Extent.CASE
    if len(about) == 1 and not about[0].absent:
        return Extent.FINDING
    named = {dict(p.variables).get(ABOUT[p.kind]) for p in about}
    return Extent.FINDING if len(named) == 1 and None not in named else Extent.SEVERAL


def keep(store: dict[Any, Value], key: object, made: Value) -> Value:
    """Keep a part that was made and return it; a full store starts anew."""
    if len(store) >= KEPT:
        store.clear()
    store[key] = made
    return made


class Drawing(Generic[Value]):
    """Some rules and what was made of their conclusions, kept by what they can tell of facts."""

    def __init__(
        self,
        rules: Iterable[NormalRule],
        make: Callable[[list[Conclusion]], Value],
        conditions: dict[str, Conditions] | None = None,
    ) -> None:
        self.rules = tuple(rules)
        self.make = make
        self.index = RuleIndex(self.rules, conditions)
        bound: dict[str, set[str]] = {}
        for rule in self.rules:
            for pattern in rule.patterns:
                bound.setdefault(pattern.kind, set()).update(n for n, _ in pattern.variables)
        self.bound = {kind: tuple(sorted(names)) for kind, names in bound.items()}
        self._kept: dict[Key, Value] = {}
        self._told: dict[Key, int] = {}
        self._numbers = count(1)
        self._same: dict[object, tuple[int, Sequence[Fact]]] = {}
        self._parts: dict[int, tuple[Key, Fact]] = {}

    def told(self, facts: Sequence[Fact]) -> int:
        """Return a number for all that the rules can tell of some facts."""
        known = self._same.get(id(facts))
        if known is None:
            # The facts are kept beside it, so that no other can take their identity.
            known = keep(self._same, id(facts), (self._number(facts), facts))
        return known[0]

    def _number(self, facts: Iterable[Fact]) -> int:
        parts, told = self._parts, list[object]()
        for fact in facts:
            known = parts.get(id(fact)) or keep(parts, id(fact), (self._part(fact), fact))
            told += known[0]
        key = tuple(told)
        return self._told.get(key) or keep(self._told, key, next(self._numbers))

    def _part(self, fact: Fact) -> Key:
        bits, fields = self.index.met(fact), fact.fields
        return (fact.kind, bits, *[fields[n] for n in self.bound[fact.kind]]) if bits else ()

    def of(self, *groups: Sequence[Fact]) -> Value:
        """Return what the conclusions over these facts come to.

        Facts that no rule can tell apart give the same value; it names no matched facts. A group
        that comes again should be the same object.
        """
        key = tuple([self.told(group) for group in groups])
        found = self._kept.get(key)
        if found is None:
            drawn = self.index.drawn_unsorted([fact for group in groups for fact in group])
            found = keep(self._kept, key, self.make(drawn))
        return found
