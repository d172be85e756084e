"""The facts of the trade that the suite holds, asked of any rulebase: which one it breaks first.

The tests named here take nothing but a rulebase, so they can be asked of a broken one as well.
"""

from __future__ import annotations

import importlib
import inspect
import itertools
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from typing import Any

from triage.engine.consult import Consultant
from triage.plan.planner import Planner

MODULES = (
    "tests.knowledge.test_trade_facts",
    "tests.knowledge.test_recognition",
    "tests.knowledge.test_whole_plans",
)
GIVEN = frozenset({"knowledge", "consultant", "planner"})
Fact = tuple[str, Callable[..., None], Mapping[str, Any]]


def _parameters(test: Callable[..., None]) -> Iterator[Mapping[str, Any]]:
    """Yield each set of values with which pytest would call a test."""
    lists = []
    for mark in getattr(test, "pytestmark", ()):
        if mark.name == "parametrize":
            names, values = mark.args[:2]
            names = [n.strip() for n in names.split(",")] if isinstance(names, str) else list(names)
            lists.append(
                [dict(zip(names, v if len(names) > 1 else [v], strict=True)) for v in values]
            )
    for chosen in itertools.product(*lists):
        yield {name: value for part in chosen for name, value in part.items()}


@cache
def facts() -> tuple[Fact, ...]:
    """Return every test of the modules that needs nothing but a rulebase and its own values."""
    found: list[Fact] = []
    for module in MODULES:
        for name, test in vars(importlib.import_module(module)).items():
            if name.startswith("test_"):
                asked = set(inspect.signature(test).parameters)
                found += [
                    (name, test, values)
                    for values in _parameters(test)
                    if asked - GIVEN == set(values) and asked & GIVEN
                ]
    return tuple(found)


def broken_fact(consultant: Consultant) -> str:
    """Return the name of the first fact that a rulebase breaks, empty if it keeps them all."""
    has = {
        "knowledge": consultant.knowledge,
        "consultant": consultant,
        "planner": Planner(consultant),
    }
    for name, test, values in facts():
        asked = GIVEN & set(inspect.signature(test).parameters)
        try:
            test(**values, **{given: has[given] for given in asked})
        # Whatever goes wrong in a test shows that the rulebase is not the one that it is about.
        except Exception:  # noqa: BLE001
            return name
    return ""
