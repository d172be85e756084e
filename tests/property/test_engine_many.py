"""All evaluators of a rule take every rule that ``check`` accepts, and conclude the same.

The engine in its one run, the plain meaning, the evaluator for many hypothetical cases, and CLIPS,
on shipped knowledge with rules drawn from the whole grammar: several findings at once, shared
variables, absence, comparisons, lists.
"""

from __future__ import annotations

import random

import pytest

from tests.property.test_explain_lookahead import changed, difference
from tests.support.case_gen import drawn
from tests.support.knowledge import shipped
from tests.support.random_grammar import with_drawn_rules
from tests.support.three_engines import clips_engines
from triage.engine.casefacts import facts_from
from triage.engine.consult import Consultant
from triage.engine.indexed import Extent, extent_of
from triage.engine.many import with_values
from triage.explain.sweep import Lookahead
from triage.exposure.day import DayLedger
from triage.knowledge.rules import FAMILIES
from triage.plan.airjudge import AirJudge
from triage.plan.outcomes import closed_findings
from triage.plan.skeleton import SkeletonMaker

SAMPLE = range(2)
FULL = range(100)
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


@pytest.mark.parametrize("seeds", [SAMPLE, pytest.param(FULL, marks=pytest.mark.slow)])
def test_all_evaluators_agree_on_rules_of_the_whole_grammar(seeds):
    assert [f"{seed}: {found}" for seed in seeds for found in differences(seed)] == []
