"""The facts of the trade that the suite holds, asked of any rulebase: which one it breaks first.

The tests named here take nothing but a rulebase, so they can be asked of a broken one as well, be it
that they ask for it or that they take the one that all tests share.
"""

import importlib
import inspect
import itertools
import sys
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from functools import cache
from typing import Any

import pytest

from tests.proof.equivalent import changed_entries, changed_rules, says_otherwise
from tests.support import knowledge as shared
from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.errors import TriageError
from triage.plan.planner import Planner

# Asked only where an agent was changed.
OF_AGENTS = frozenset({"tests.knowledge.test_taken_from_the_library"})
# The quickest first.
MODULES = (
    "tests.knowledge.test_grades_agree",
    *OF_AGENTS,
    "tests.knowledge.test_trade_facts",
    "tests.knowledge.test_recognition",
    "tests.knowledge.test_whole_plans",
)
GIVEN = frozenset({"knowledge", "consultant", "planner"})
Test = tuple[str, Callable[..., None], Mapping[str, Any]]


def _parameters(test: Callable[..., None]) -> Iterator[Mapping[str, Any]]:
    """Yield each set of values with which pytest would call a test."""
    lists = []
    for mark in getattr(test, "pytestmark", ()):
        if mark.name == "parametrize":
            names, values = mark.args[:2]
            names = [n.strip() for n in names.split(",")] if isinstance(names, str) else list(names)
            # What is marked is the slow form, or does not hold yet.
            plain = [v for v in values if not getattr(v, "marks", ())]
            lists.append(
                [dict(zip(names, v if len(names) > 1 else [v], strict=True)) for v in plain]
            )
    for chosen in itertools.product(*lists):
        yield {name: value for part in chosen for name, value in part.items()}


@cache
def facts() -> tuple[Test, ...]:
    """Return every test of the modules that needs nothing but a rulebase and its own values."""
    found: list[Test] = []
    for module in MODULES:
        for name, test in vars(importlib.import_module(module)).items():
            if name.startswith("test_"):
                asked = set(inspect.signature(test).parameters)
                found += [
                    (name, test, values)
                    for values in _parameters(test)
                    if asked - GIVEN == set(values)
                ]
    return tuple(found)


@contextmanager
def standing_in(broken: Consultant) -> Iterator[None]:
    """Let a broken rulebase stand in for the one that the tests of this process share."""
    try:
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(shared, "load_knowledge", lambda _: broken.knowledge)
            _forget()
            yield
    finally:
        _forget()


def _untimed() -> None:
    """Let no busy machine break a fact that holds; under pytest that is settled already."""
    settings = importlib.import_module("hypothesis").settings
    if settings.default.deadline is not None:
        settings.register_profile("proof", deadline=None, derandomize=True)
        settings.load_profile("proof")


def _forget() -> None:
    """Forget what the tests made of the rulebase that they share."""
    for name, module in list(sys.modules.items()):
        if name.startswith("tests.support.") or name in MODULES:
            for made in list(vars(module).values()):
                getattr(made, "cache_clear", lambda: None)()


class TradeFacts:
    """Every fact, with what the sound rules are asked about on the way to it."""

    def __init__(self, sound: Consultant) -> None:
        self.sound = sound
        self.heard: list[list[tuple[Fact, ...]]] = []
        _untimed()
        given = _given(sound)
        with standing_in(sound):
            for test in facts():
                with _listening() as heard:
                    if _fails(test, given):
                        raise TriageError(f"the knowledge itself breaks {test[0]}", mend="mend it")
                self.heard.append(heard)

    def broken_by(self, broken: Consultant) -> str:
        """Return the name of the first fact that a rulebase breaks, empty if it keeps them all.

        It must stand in for the one that the tests share. Where nothing but rules was changed only
        those tests are asked in which one of them says something else.
        """
        given, rules = _given(broken), changed_rules(self.sound, broken)
        entries = changed_entries(self.sound.knowledge, broken.knowledge)
        for test, heard in zip(facts(), self.heard, strict=True):
            if test[1].__module__ in OF_AGENTS and "agent" not in entries:
                continue
            is_all = bool(entries) or not heard
            is_touched = is_all or any(says_otherwise(rules, each) for each in heard)
            if is_touched and _fails(test, given):
                return test[0]
        return ""


def _given(consultant: Consultant) -> dict[str, Any]:
    planner = Planner(consultant)
    return {"knowledge": consultant.knowledge, "consultant": consultant, "planner": planner}


def _fails(test: Test, given: Mapping[str, Any]) -> bool:
    _, run, values = test
    try:
        run(
            **values, **{name: given[name] for name in GIVEN & {*inspect.signature(run).parameters}}
        )
    # Whatever goes wrong in a test shows that the rulebase is not the one that it is about.
    except Exception:  # noqa: BLE001
        return True
    return False


@contextmanager
def _listening() -> Iterator[list[tuple[Fact, ...]]]:
    """Give the facts of every case that any rulebase is asked about meanwhile."""
    heard: list[tuple[Fact, ...]] = []
    with pytest.MonkeyPatch.context() as patch:
        for name in ("recognised", "run_plain", "run_unindexed"):
            patch.setattr(Consultant, name, _heard_by(heard, getattr(Consultant, name)))
        yield heard


def _heard_by(heard: list[tuple[Fact, ...]], ask: Callable[..., Any]) -> Callable[..., Any]:
    def asked(self: Consultant, *given: Any) -> Any:
        found = ask(self, *given)
        facts = getattr(found, "facts", None) or next(g for g in given if isinstance(g, tuple))
        # A consultation asks family after family about ever more facts: the last is enough.
        if heard and {*map(id, heard[-1])} <= {*map(id, facts)}:
            heard.pop()
        heard.append(facts)
        return found

    return asked
