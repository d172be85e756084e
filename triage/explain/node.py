"""A tree of reasons: what is said, by which rule, from which facts, with which source."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

Role = Literal[
    "step", "rule", "answer", "reading", "derived", "bench", "air", "attempt", "order", "note"
]


@dataclass(frozen=True, slots=True)
class Node:
    """One reason with the reasons behind it.

    ``rule`` is empty where no rule speaks; ``facts`` are the keys of the facts that the rule
    matched, in the order in which it names them; ``source`` is an id of the source registry and
    ``title`` its title.
    """

    role: Role
    text: str
    rule: str = ""
    source: str = ""
    title: str = ""
    facts: tuple[str, ...] = ()
    children: tuple[Node, ...] = ()

    def walk(self) -> Iterator[Node]:
        """Yield this reason and all behind it."""
        yield self
        for child in self.children:
            yield from child.walk()
