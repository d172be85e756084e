"""Ways to run normal rules: experta with either matcher and either strategy."""

from __future__ import annotations

from triage.engine.build import FamilyEngine, build_engine, to_experta
from triage.engine.compat import ReteMatcher
from triage.engine.facts import Fact
from triage.engine.matcher import JoinMatcher
from triage.engine.normal import NormalRule

MATCHERS = {"join": JoinMatcher, "rete": ReteMatcher}


def engine_of(rules: tuple[NormalRule, ...], matcher: str = "join", strategy=None) -> FamilyEngine:
    engine = build_engine("TestEngine", rules, matcher=MATCHERS[matcher])
    if strategy is None:
        return engine
    return type("OtherEngine", (type(engine),), {"__strategy__": strategy})()


def declare(engine: FamilyEngine, fact: Fact):
    return engine.declare(to_experta(fact, engine.classes))
