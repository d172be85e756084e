"""Facts and conclusions as plain frozen values, the same for every engine."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
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
    facts in pattern order.
    """

    kind: str
    rule: str
    fields: tuple[tuple[str, Any], ...]
    facts: tuple[str, ...]

    def get(self, name: str, default: Any = None) -> Any:
        """Return the value of a field, or ``default``."""
        for field, value in self.fields:
            if field == name:
                return value
        return default


def sorted_conclusions(conclusions: Iterable[Conclusion]) -> tuple[Conclusion, ...]:
    """Return conclusions without duplicates in one total order, whatever order they fired in."""
    return tuple(sorted(set(conclusions), key=lambda c: (c.kind, c.rule, repr(c.fields), c.facts)))
