"""Facts and conclusions as plain frozen values, the same for every engine."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any


@dataclass(frozen=True, slots=True)
class Fact:
    """One fact of a case: its kind, a key that names it to people, and its fields."""

    kind: str
    key: str
    fields: Mapping[str, str]

    def get(self, name: str) -> str:
        """Return the value of a field."""
        return self.fields[name]


@dataclass(frozen=True, slots=True)
class Conclusion:
    """What one rule concluded, and the facts that it matched.

    ``fields`` is sorted; method fields are tuples of ids. ``facts`` are keys of the matched
    facts in pattern order. ``text`` is ``repr(fields)`` where it was kept for sorting.
    """

    kind: str
    rule: str
    fields: tuple[tuple[str, Any], ...]
    facts: tuple[str, ...]
    text: str = field(default="", compare=False, repr=False)

    def get(self, name: str, default: Any = None) -> Any:
        """Return the value of a field, or ``default``."""
        for known, value in self.fields:
            if known == name:
                return value
        return default


def order_of(conclusion: Conclusion) -> tuple[str, str, str, tuple[str, ...]]:
    """Return the sort key of a conclusion: total, and the same for every engine."""
    text = conclusion.text or repr(conclusion.fields)
    return conclusion.kind, conclusion.rule, text, conclusion.facts


def sorted_conclusions(conclusions: Iterable[Conclusion]) -> tuple[Conclusion, ...]:
    """Return conclusions without duplicates in one total order, whatever order they fired in."""
    # Equal ones have equal keys; comparing or hashing their long lists of methods would cost more.
    by_key = {order_of(conclusion): conclusion for conclusion in conclusions}
    return tuple([by_key[key] for key in sorted(by_key)])
