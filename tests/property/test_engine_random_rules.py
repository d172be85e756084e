"""Random rule sets: experta with both matchers, the plain meaning and CLIPS conclude the same."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.support.clips_engine import ClipsEngine
from tests.support.engines import declare, engine_of
from tests.support.random_rules import (
    FIELDS,
    KINDS,
    chooser,
    crowded_rules,
    draw_fact,
    draw_facts,
    draw_rules,
)
from triage.engine.facts import Fact
from triage.engine.normal import NormalRule, Pattern, Template
from triage.engine.plain import evaluate
from triage.knowledge.rules import Family


@pytest.mark.parametrize("sets", [80, pytest.param(3000, marks=pytest.mark.slow)])
def test_engines_agree_on_random_rules(sets):
    for seed in range(sets):
        choose = chooser(seed)
        rules, facts = draw_rules(choose), draw_facts(choose)
        expected = set(evaluate(rules, facts))
        assert set(ClipsEngine(dict.fromkeys(KINDS, FIELDS), rules).consult(facts)) == expected, (
            seed
        )
        for matcher in ("join", "rete"):
            found = engine_of(rules, matcher).consult(facts)
            assert set(found) == expected, (matcher, seed)
            assert len(found) == len(set(found))


# -- facts that come and go --------------------------------------------------------------------


def test_five_activations_with_one_key_are_all_withdrawn():
    """The smallest form: one fact, many rules that wait on it, then what blocks all, or its end."""
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

    def fired(matcher="rete", strategy=None, *, ended=False):
        engine = engine_of(rules, matcher, strategy)
        engine.reset()
        engine.concluded = []
        waiting = declare(engine, Fact("k0", "waiting", {"a": "-"}))
        if ended:
            engine.retract(waiting)
        for n in range(0 if ended else 9):
            declare(engine, Fact("k1", f"block-{n}", {"a": f"v{n}"}))
        engine.run()
        return len(engine.concluded)

    # Only now: the engines have mended experta's start-up.
    from experta.strategies import DepthStrategy

    for matcher in ("join", "rete"):
        assert fired(matcher) == fired(matcher, ended=True) == 0
    assert fired(strategy=DepthStrategy) > 0, "the fault that the exact strategy is there for"


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

    def holding(self):
        """Return what holds over the facts of this moment; they change only between runs."""
        return set(evaluate(self.rules, [fact for fact, _ in self.present.values()]))

    @precondition(lambda self: self.present)
    @rule(data=st.data())
    def retract(self, data):
        key = data.draw(st.sampled_from(sorted(self.present)))
        self.engine.retract(self.present.pop(key)[1])

    @rule(steps=st.sampled_from([1, 2, 1000]))
    def run_on(self, steps):
        before = len(self.engine.concluded)
        self.engine.run(steps)
        holding = self.holding()
        self.wrong += [c for c in self.engine.concluded[before:] if c not in holding]

    @invariant()
    def nothing_stray(self):
        assert getattr(self, "wrong", []) == []

    def teardown(self):
        if not hasattr(self, "engine"):
            return
        self.engine.run()
        assert self.holding() <= set(self.engine.concluded)


class ComingAndGoingRete(ComingAndGoing):
    matcher = "rete"


QUICK = settings(
    max_examples=20, stateful_step_count=25, deadline=None, suppress_health_check=list(HealthCheck)
)
ComingAndGoing.TestCase.settings = QUICK
ComingAndGoingRete.TestCase.settings = QUICK
TestComingAndGoing = ComingAndGoing.TestCase
TestComingAndGoingRete = ComingAndGoingRete.TestCase
