"""Contradictory observations: the two facts by name, and what each speaks for."""

from __future__ import annotations

from dataclasses import dataclass

from triage.explain.node import Node
from triage.explain.trail import Trail


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Two observations about one finding that speak for and against the same deposit."""

    finding: str
    deposit: str
    for_it: Node
    against_it: Node
    sentence: str


def contradictions(trail: Trail) -> tuple[Contradiction, ...]:
    """Return every contradiction of a case; none is resolved silently."""
    found = []
    for conflict in trail.conclusions.conflicts:
        good, bad = trail.rule(conflict.for_it), trail.rule(conflict.against_it)
        name = trail.knowledge.deposits[conflict.deposit].name
        sentence = (
            f"{conflict.finding}, {name}: {_named(good)} speaks for it, {_named(bad)} against it. "
            "Look at both again."
        )
        found.append(Contradiction(conflict.finding, conflict.deposit, good, bad, sentence))
    return tuple(found)


def _named(rule: Node) -> str:
    """Return the facts of a rule in words."""
    return " and ".join(f'"{child.text}"' for child in rule.children)
