"""Random rules, rules of the whole grammar and the shipped ones: every evaluator concludes the same.

experta with both matchers, the plain meaning, the evaluator for many hypothetical cases, and CLIPS,
an engine by other people: several findings at once, shared variables, absence, comparisons, lists.
One plan to the byte comes out in any process. And interlocks are worked out anew at every act: the
first evaluator is made to forget every one, as a fault in it would, and the second one has to
withhold the plan, also under -O.
"""

from __future__ import annotations

import multiprocessing
import os
import random
import shutil
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from tests.property.test_explain_lookahead import changed, difference
from tests.support.builders import OILY, case_with
from tests.support.case_gen import drawn
from tests.support.engines import ClipsEngine, Tally, clips_engines, compare, declare, engine_of
from tests.support.knowledge import RULES, consultant, planner, shipped
from tests.support.metamorphic import interlocked
from tests.support.random_grammar import with_drawn_rules
from tests.support.random_rules import (
    FIELDS,
    KINDS,
    chooser,
    crowded_rules,
    draw_fact,
    draw_facts,
    draw_rules,
)
from tests.support.running import process
from triage.case.profile import Bench
from triage.case.store import create_case
from triage.engine.casefacts import facts_from
from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.indexed import Extent, extent_of
from triage.engine.many import with_values
from triage.engine.normal import NormalRule, Pattern, Template
from triage.engine.plain import evaluate
from triage.explain.sweep import Lookahead
from triage.exposure.day import DayLedger
from triage.knowledge.rules import FAMILIES, Family
from triage.plan.airjudge import AirJudge
from triage.plan.outcomes import closed_findings
from triage.plan.skeleton import SkeletonMaker


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


def waiting_rule(number):
    """Return a rule that waits on one fact, and for the absence of a value of its own."""
    absent = Pattern("k1", True, (("a", frozenset({f"v{number}"})),), ())
    said = (Template("said", (("number", number),), ()),)
    return NormalRule(f"rule-{number}", Family.GATE, (Pattern("k0", False, (), ()), absent), said)


def test_five_activations_with_one_key_are_all_withdrawn():
    """The smallest form: one fact, many rules that wait on it, then what blocks all, or its end."""
    rules = tuple(waiting_rule(n) for n in range(9))

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
CASES = 8
CHANGES = 3


def differences(seed: int):
    """Yield what differs between the evaluators on one rule set; says what the rules reached."""
    consultant = Consultant(with_drawn_rules(shipped(), seed))
    clips = clips_engines(consultant)
    maker = SkeletonMaker(consultant)
    first = Lookahead(consultant, drawn(consultant, 0)[1])
    fired: set[str] = set()
    for number in range(CASES):
        case, bench = drawn(consultant, 1000 * seed + number)
        closed = closed_findings(consultant.knowledge, case)
        facts = facts_from(case, bench, consultant.vocabulary)
        chained = consultant.chain(facts, closed)
        runs = {
            "the plain meaning": consultant.run_unindexed,
            "CLIPS": lambda family, known: clips[family].consult(known),
        }
        for name, run in runs.items():
            if consultant.consult_facts(facts, closed, run) != chained:
                yield f"{name}, case {number}"
        fired |= {c.rule for family in FAMILIES for c in chained.of(family)}
        judge = AirJudge(consultant.knowledge, bench, DayLedger())
        look = Lookahead(consultant, bench, judge, many=first.many)
        work = look.work(case)
        rng = random.Random(number)
        others = [drawn_change for _ in range(CHANGES) if (drawn_change := changed(case, rng))]
        variants = [
            (case, facts),
            *[(other, with_values(facts, {place: after})) for place, after, other in others],
        ]
        for place, (variant, known) in enumerate(variants):
            if found := difference(variant, bench, look, look.outline(known, work), maker):
                yield f"look-ahead, case {number}, variant {place}: {found}"
    rules = [rule for rules in consultant.normal.by_family.values() for rule in rules]
    wide = {r.id for r in rules if extent_of(r) is Extent.SEVERAL and "-drawn-" in r.id}
    # The comparison would be empty if no drawn rule over several findings ever fired.
    if not wide & fired:
        yield "no rule over several findings fired"


@pytest.mark.parametrize("seeds", [range(2), pytest.param(range(100), marks=pytest.mark.slow)])
def test_all_evaluators_agree_on_rules_of_the_whole_grammar(seeds):
    assert [f"{seed}: {found}" for seed in seeds for found in differences(seed)] == []


def test_three_engines_agree_on_generated_cases():
    tally = compare(range(80))
    assert tally.differing == []
    # The comparison would be empty if the drawn cases reached nothing.
    assert all(tally.conclusions[family] > 8 for family in FAMILIES), tally.conclusions
    assert tally.settled > 20
    assert drawn(consultant(), 5) == drawn(consultant(), 5) != drawn(consultant(), 6)


@pytest.mark.slow
def test_three_engines_agree_on_10000_cases(capsys):
    """The full run; prints what it covered."""
    parts = [range(start, start + 250) for start in range(0, 10_000, 250)]
    total = Tally()
    with multiprocessing.get_context("spawn").Pool(os.cpu_count()) as pool:
        for tally in pool.imap_unordered(compare, parts):
            total.add(tally)
    rules = {rule.id for family in shipped().rules.values() for rule in family}
    silent = sorted(rules - total.fired)
    with capsys.disabled():
        print(f"\n{total.cases} cases, conclusions {dict(total.conclusions)}; {total.settled} ")
        print(f"findings settled; {len(total.differing)} differences; silent: {silent or 'none'}")
    assert total.cases == 10_000
    assert total.differing == []
    # A rule that never fires was never compared, except on facts where all say nothing.
    assert silent == []


SEEDS = tuple(map(str, range(6)))


def printed_by(*words: str, home: Path, seed: int) -> str:
    return process(*words, home=home, PYTHONHASHSEED=str(seed)).said()


@pytest.mark.parametrize("processes", [2, pytest.param(50, marks=pytest.mark.slow)])
def test_shuffled_facts_rules_and_hash_seeds_give_one_plan(processes: int, tmp_path: Path) -> None:
    # A copy, so that all processes read the same knowledge while someone edits the files.
    rules = shutil.copytree(RULES, tmp_path / "rules")

    def shuffled(number: int) -> str:
        words = ("-m", "tests.support.plan_shuffled", str(rules), str(number), *SEEDS)
        return printed_by(*words, home=tmp_path, seed=1000 + 7919 * number)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        (printed,) = set(pool.map(shuffled, range(processes)))
    # Something was planned, or the bytes would agree about nothing.
    assert printed.count('"method":') > len(SEEDS)


BOTH = """\
import sys
from triage.cli import main
main(["plan", sys.argv[1], "--json"])
main(["explain", "bumblebee-plate-3", "--method", "brush-suction"])
"""


def test_the_command_prints_the_same_in_each_process(demo: Path, tmp_path: Path) -> None:
    """A plan, and reasons of equal weight: of two things that the bench lacks one is told first."""
    case, _ = drawn(consultant(), 3)
    create_case(demo, case)
    words = ("-c", BOTH, case.id)
    (printed,) = {printed_by(*words, home=tmp_path, seed=seed) for seed in (1, 4242)}
    plan, _, explained = printed.partition("\n}\n")
    assert case.id in plan
    assert explained.count("bench") > 1


FORGETS = """
import sys
from dataclasses import replace
from triage.engine.consult import Consultant
from triage.knowledge.rules import Family

chain = Consultant.chain
def forgets(self, facts, closed=()):
    found = chain(self, facts, closed)
    return replace(found, by_family={**found.by_family, Family.FORBID: ()})
"""
COMMAND = """
Consultant.chain = forgets
from triage.cli import main
sys.exit(main(["plan", "oily", "--cases", sys.argv[1]]))
"""
ACTS = """
from datetime import UTC, datetime
from pathlib import Path
from triage.plan.ladder import InterlockBroken
from triage.service.workshop import open_workshop

assert False, "never reached under -O: asserts are gone"
folder, name = Path(sys.argv[1]), "oily"
clock = lambda: datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
sound = open_workshop(cases=folder, clock=clock)
plan = sound.plan(sound.load(name))
step = plan.steps[0].id
sound.record(name, step, "no-change")       # so that there is something to undo
sound.start_timer(name, step, 60, "dwell")  # and something to resume

Consultant.chain = forgets
opened = open_workshop(cases=folder, clock=clock)  # resumed in a new program
before = (folder / "oily.yaml").read_bytes()

def undone():
    opened.undo(name, "took it back")
    opened.plan(opened.load(name))

def damaged_and_released():
    from triage.case.changes import with_release, new_attempt, with_attempt
    from triage.case.store import update_case
    path = folder / "oily.yaml"
    update_case(path, lambda c: with_attempt(c, new_attempt("a77", clock(), step, "worse", finding="f1")))
    opened.release(name, "a77", "looked again")
    opened.plan(opened.load(name))

acts = {
    "resume": lambda: opened.plan(opened.load(name)),
    "record": lambda: opened.record(name, step, "cleared"),
    "put off": lambda: opened.extend_timer(name, step),
    "what if": lambda: opened.plan(opened.with_answer(opened.load(name), "f1", "sheen", "dull")),
    "undo": undone,
    "release": damaged_and_released,
    "skip": lambda: (opened.skip(name, "f1", "blot-dry", "no"), opened.plan(opened.load(name))),
}
for what, act in acts.items():
    try:
        act()
        print(what, "PLANNED")
    except InterlockBroken as fault:
        print(what, "withheld", fault.exit_code, "forbidden" in fault.line())
    if what in ("resume", "record", "put off", "what if"):
        print(what, "kept" if (folder / "oily.yaml").read_bytes() == before else "CHANGED")
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    case = case_with("bees-wasps", "compound-eye", OILY)
    create_case(tmp_path, case.model_copy(update={"id": "oily"}))
    # What is offered here is partly forbidden; without the interlocks it would be planned.
    plan = planner().plan(case, Bench())
    assert {e.method for e in plan.excluded if e.offered} & {m for _, m in interlocked(plan)}
    return tmp_path


def test_interlocks_are_worked_out_again_at_every_act(folder: Path) -> None:
    """Without any assert: what withholds the plan must not be one."""
    done = process("-OO", "-c", FORGETS + ACTS, str(folder), home=folder)
    told = done.said().splitlines()
    acts = ("resume", "record", "put off", "what if", "undo", "release", "skip")
    assert [line for line in told if "withheld" in line] == [f"{a} withheld 3 True" for a in acts]
    assert not any("PLANNED" in line or "CHANGED" in line for line in told)


def test_the_command_withholds_the_plan_and_says_so(folder: Path) -> None:
    """As a program: no plan on the output, one line on the other, the exit code of a fault."""
    done = process("-O", "-c", FORGETS + COMMAND, str(folder), home=folder)
    assert (done.returncode, done.stdout) == (3, "")
    assert "is forbidden by" in done.stderr
    assert "the plan is withheld" in done.stderr
    assert "Traceback" not in done.stderr
