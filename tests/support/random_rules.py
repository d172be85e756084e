"""Small random rule sets and facts, drawn from a seeded generator or by hypothesis.

The words have no meaning; what counts is that the sets hold joins, shared variables, the same kind
twice, absences with and without bound variables, empty and full sets of allowed values.
"""

import random
from collections.abc import Callable, Sequence
from typing import Any, TypeVar

from triage.engine.facts import Fact
from triage.engine.normal import NormalRule, Pattern, Template
from triage.knowledge.rules import Family

T = TypeVar("T")
Choose = Callable[[Sequence[Any]], Any]
KINDS = ("k0", "k1", "k2")
FIELDS = ("a", "b")
VALUES = ("u", "v", "w")
NAMES = ("x", "y")


def chooser(seed: int) -> Choose:
    return random.Random(seed).choice


def draw_pattern(choose: Choose, *, absent: bool) -> Pattern:
    allowed: list[tuple[str, frozenset[str]]] = []
    variables: list[tuple[str, str]] = []
    for field in FIELDS:
        what = choose(("free", "allowed", "allowed", "variable", "both"))
        if what in ("allowed", "both"):
            values = frozenset(v for v in VALUES if choose((True, True, False)))
            allowed.append((field, values))
        if what in ("variable", "both"):
            variables.append((field, choose(NAMES)))
    return Pattern(choose(KINDS), absent, tuple(allowed), tuple(variables))


def draw_rule(choose: Choose, number: int) -> NormalRule:
    positive = [draw_pattern(choose, absent=False) for _ in range(choose((1, 1, 1, 2, 2, 3)))]
    negative = [draw_pattern(choose, absent=True) for _ in range(choose((0, 0, 1, 1, 2)))]
    bound = sorted({name for pattern in positive for _, name in pattern.variables})
    fields = tuple((name, name) for name in bound if choose((True, False)))
    template = Template("said", (("number", number),), fields)
    return NormalRule(f"rule-{number:02d}", Family.GATE, (*positive, *negative), (template,))


def draw_rules(choose: Choose) -> tuple[NormalRule, ...]:
    return tuple(draw_rule(choose, number) for number in range(choose(range(2, 13))))


def draw_facts(choose: Choose) -> tuple[Fact, ...]:
    """Return facts that differ in their fields, as those of a case do."""
    seen: dict[tuple[str, ...], Fact] = {}
    for _ in range(choose(range(1, 9))):
        fact = draw_fact(choose, len(seen))
        seen.setdefault((fact.kind, *fact.fields.values()), fact)
    return tuple(seen.values())


def draw_fact(choose: Choose, number: int) -> Fact:
    return Fact(choose(KINDS), f"fact-{number}", {field: choose(VALUES) for field in FIELDS})


def crowded_rules(choose: Choose) -> tuple[NormalRule, ...]:
    """Return rules of which many wait on the same fact and each for its own absence."""
    rules = []
    for number in range(choose(range(5, 12))):
        waiting = Pattern("k0", False, (), ())
        blocked = Pattern(
            "k1", True, (("a", frozenset({choose(VALUES)})), ("b", frozenset({choose(VALUES)}))), ()
        )
        template = Template("said", (("number", number),), ())
        rules.append(NormalRule(f"rule-{number:02d}", Family.GATE, (waiting, blocked), (template,)))
    return tuple(rules)
