"""Random rule sets: experta with both matchers and a naive evaluator conclude the same."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.support.engines import declare, engine_of
from tests.support.naive import naive
from tests.support.random_rules import chooser, crowded_rules, draw_fact, draw_facts, draw_rules
from triage.engine.plain import evaluate

SAMPLE = 40
FULL = 3000


def check_agreement(rules, facts) -> None:
    expected = naive(rules, facts)
    assert set(evaluate(rules, facts)) == expected, "plain evaluator"
    for matcher in ("join", "rete"):
        found = engine_of(rules, matcher).consult(facts)
        assert set(found) == expected, matcher
        assert len(found) == len(set(found))


@pytest.mark.parametrize("sets", [SAMPLE, pytest.param(FULL, marks=pytest.mark.slow)])
def test_engines_agree_on_random_rules(sets):
    for seed in range(sets):
        choose = chooser(seed)
        check_agreement(draw_rules(choose), draw_facts(choose))


@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_engines_agree_on_drawn_rules(data):
    choose = lambda options: data.draw(st.sampled_from(list(options)))
    check_agreement(draw_rules(choose), draw_facts(choose))


# -- facts that come and go --------------------------------------------------------------------


def strays(rules, seed: int, matcher: str, strategy=None) -> list[str]:
    """Return what went wrong while facts came and went: fired without cause, or kept silent.

    Facts change only between runs, so each conclusion must hold over the facts of its moment.
    """
    choose = chooser(seed)
    engine = engine_of(rules, matcher, strategy)
    engine.reset()
    engine.concluded = []
    present = {}
    wrong: list[str] = []
    for number in range(choose(range(6, 20))):
        fact = draw_fact(choose, number)
        if present and choose((True, False, False)):
            key = choose(sorted(present))
            engine.retract(present.pop(key)[1])
        elif (declared := declare(engine, fact)) is not None:
            present[fact.key] = (fact, declared)
        if choose((True, False, False, False)):
            wrong += _stray_firings(engine, rules, present, 1)
    wrong += _stray_firings(engine, rules, present, float("inf"))
    holding = naive(rules, [fact for fact, _ in present.values()])
    wrong += [f"silent: {c}" for c in holding - set(engine.concluded)]
    return wrong


def _stray_firings(engine, rules, present, steps) -> list[str]:
    before = len(engine.concluded)
    engine.run(steps)
    holding = naive(rules, [fact for fact, _ in present.values()])
    return [f"stray: {c}" for c in engine.concluded[before:] if c not in holding]


def changing_rules(seed: int):
    choose = chooser(10_000 + seed)
    return crowded_rules(choose) if seed % 3 == 0 else draw_rules(choose)


def default_strategy():
    # Only now: the engines imported above have mended experta's start-up.
    from experta.strategies import DepthStrategy

    return DepthStrategy


@pytest.mark.parametrize("sets", [SAMPLE, pytest.param(FULL, marks=pytest.mark.slow)])
@pytest.mark.parametrize("matcher", ["join", "rete"])
def test_nothing_fires_that_no_longer_holds(matcher, sets):
    failed = [seed for seed in range(sets) if strays(changing_rules(seed), seed, matcher)]
    assert failed == []


def test_the_default_strategy_fires_what_no_longer_holds():
    """The fault that the exact strategy is there for: it must still show without it."""
    strategy = default_strategy()
    assert any(strays(changing_rules(s), s, "rete", strategy) for s in range(300))


def test_five_activations_with_one_key_are_all_withdrawn():
    """The smallest form: one fact, many rules that wait on it, then the fact that blocks all."""
    from triage.engine.facts import Fact
    from triage.engine.normal import NormalRule, Pattern, Template
    from triage.knowledge.rules import Family

    rules = tuple(
        NormalRule(
            f"rule-{n}",
            Family.GATE,
            (
                Pattern("k0", False, (), ()),
                Pattern("k1", True, (("a", frozenset({f"v{n}"})),), ()),
            ),
            (Template("said", (("number", n),), ()),),
        )
        for n in range(9)
    )

    def fired(strategy):
        engine = engine_of(rules, "rete", strategy)
        engine.reset()
        engine.concluded = []
        declare(engine, Fact("k0", "waiting", {"a": "-"}))
        for n in range(9):
            declare(engine, Fact("k1", f"block-{n}", {"a": f"v{n}"}))
        engine.run()
        return len(engine.concluded)

    assert fired(None) == 0
    assert fired(default_strategy()) > 0


class ComingAndGoing(RuleBasedStateMachine):
    """Facts are declared and retracted and the engine runs a little, in any order."""

    matcher = "join"

    @initialize(data=st.data())
    def begin(self, data):
        choose = lambda options: data.draw(st.sampled_from(list(options)))
        crowded = data.draw(st.booleans())
        self.rules = crowded_rules(choose) if crowded else draw_rules(choose)
        self.engine = engine_of(self.rules, self.matcher)
        self.engine.reset()
        self.engine.concluded = []
        self.present = {}
        self.count = 0
        self.wrong = []

    @rule(data=st.data())
    def declare(self, data):
        fact = draw_fact(lambda options: data.draw(st.sampled_from(list(options))), self.count)
        self.count += 1
        declared = declare(self.engine, fact)
        if declared is not None:
            self.present[fact.key] = (fact, declared)

    @precondition(lambda self: self.present)
    @rule(data=st.data())
    def retract(self, data):
        key = data.draw(st.sampled_from(sorted(self.present)))
        self.engine.retract(self.present.pop(key)[1])

    @rule(steps=st.sampled_from([1, 2, 1000]))
    def run_on(self, steps):
        self.wrong += _stray_firings(self.engine, self.rules, self.present, steps)

    @invariant()
    def nothing_stray(self):
        assert getattr(self, "wrong", []) == []

    def teardown(self):
        if not hasattr(self, "engine"):
            return
        self.engine.run()
        holding = naive(self.rules, [fact for fact, _ in self.present.values()])
        assert holding <= set(self.engine.concluded)


class ComingAndGoingRete(ComingAndGoing):
    matcher = "rete"


QUICK = settings(
    max_examples=20, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)
ComingAndGoing.TestCase.settings = QUICK
ComingAndGoingRete.TestCase.settings = QUICK
TestComingAndGoing = ComingAndGoing.TestCase
TestComingAndGoingRete = ComingAndGoingRete.TestCase
