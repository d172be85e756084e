"""A tree of reasons: what is said, by which rule, from which facts, with which source."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

Role = Literal[
    "step", "rule", "answer", "reading", "derived", "bench", "air", "attempt", "order", "note"
]
WIDTH = 92


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

    def rules(self) -> frozenset[str]:
        """Return every rule named in the tree."""
        return frozenset(node.rule for node in self.walk() if node.rule)

    def sources(self) -> frozenset[str]:
        """Return every source named in the tree."""
        return frozenset(node.source for node in self.walk() if node.source)


def wrapped(text: str, first: str = "", rest: str = "") -> list[str]:
    """Return a text as lines; ids with hyphens stay whole, so that they can be copied."""
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    )


def node_text(node: Node, depth: int = 0, said: set[Node] | None = None) -> Iterator[str]:
    """Yield a tree as indented lines: each reason with its rule and source behind it.

    ``said`` holds what was printed before: it is named again, but not laid out a second time.
    """
    said = set() if said is None else said
    behind = "; ".join(part for part in (node.rule, node.title or node.source) if part)
    text = f"{node.text} [{behind}]" if behind else node.text
    is_said = bool(node.children) and node in said
    indent = "  " * depth
    yield from wrapped(f"{text}, as above" if is_said else text, f"{indent}- ", f"{indent}  ")
    if is_said:
        return
    said.add(node)
    for child in node.children:
        yield from node_text(child, depth + 1, said)
