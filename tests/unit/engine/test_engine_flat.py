"""Rules as bits, readings in numbers and open ways say what the slower evaluators say."""

from __future__ import annotations

import pytest

from tests.support.case_gen import drawn
from tests.support.knowledge import consultant, shipped
from triage.case.profile import Bench
from triage.engine.casefacts import facts_from
from triage.engine.consult import Consultant
from triage.engine.facts import Fact, Varied
from triage.engine.flat import FlatRules, is_flat, ones
from triage.engine.normal import NormalRule, NormalRules, Pattern, Template
from triage.engine.openings import Openings
from triage.engine.plain import by_kind, matches
from triage.engine.quickread import QuickReader
from triage.engine.vocabulary import NONE
from triage.exposure.day import DayLedger
from triage.knowledge.rules import Family
from triage.plan.air import AirJudge
from triage.plan.lookahead import Lookahead
from triage.plan.skeleton import SkeletonMaker

SEEDS = range(60)
BORROWED = min(r.id for r in consultant().normal.by_family[Family.FORBID])
KINDS = ("specimen", "bench", "finding", "reading", "state", "closed")


def scenes(seeds=SEEDS):
    """Yield all facts about one finding of a drawn case, as the later families see them."""
    for seed in seeds:
        case, bench = drawn(consultant(), seed)
        facts = consultant().consult(case, bench, plain=True).facts
        for finding in case.findings:
            yield [
                fact
                for fact in facts
                if fact.fields.get("finding", fact.key if fact.kind == "finding" else finding.id)
                == finding.id
            ]


def passed(flat: FlatRules, facts) -> int:
    bits = flat.every
    grouped = by_kind(facts)
    for kind in KINDS:
        bits &= flat.kind(kind).of_any([fact.fields for fact in grouped.get(kind, ())])
    return bits


@pytest.mark.parametrize("family", [f for f in Family if f is not Family.RECOGNISE])
def test_bits_say_which_rules_fire(family):
    rules = consultant().normal.by_family[family]
    flat = FlatRules(rules)
    for facts in scenes():
        fired = {flat.rules[place].id for place in ones(flat.fired(passed(flat, facts)))}
        # The plainest evaluator shares neither index nor bits.
        assert fired == {r.id for r in flat.rules if matches(r, by_kind(facts))}


def test_every_shipped_rule_is_flat():
    """Others cost more time; that there are none is no condition, but should be noticed."""
    assert [
        r.id for rules in consultant().normal.by_family.values() for r in rules if not is_flat(r)
    ] == []


def test_readings_in_numbers_are_those_with_evidence():
    reader = QuickReader(consultant())
    for seed in range(200):
        case, bench = drawn(consultant(), seed)
        facts = facts_from(case, bench, consultant().vocabulary)
        found = consultant().consult(case, bench, plain=True)
        for finding in facts[2:]:
            summary = reader.finding(finding, facts[0], facts[1])
            readings = found.readings_of(finding.key)
            assert summary.ranked == tuple((r.deposit, r.certainty) for r in readings)
            settled = found.settled(finding.key)
            assert summary.settled == (settled.deposit if settled else None)
            seen = [f.fields for r in readings if (f := consultant().reading_fact(r))]
            assert summary.seen == tuple(
                sorted((f["deposit"], f["standing"], f["reach"]) for f in seen)
            )


def test_open_ways_add_what_open_questions_add():
    openings = Openings(consultant())
    for seed in range(200):
        case, bench = drawn(consultant(), seed)
        specimen, _, *findings = facts_from(case, bench, consultant().vocabulary)
        for finding in findings:
            opened = openings.of(finding, specimen)
            named = finding.get("named") != NONE
            for guard in consultant().guards:
                mine = openings.weights(guard, opened, named=named)
                assert mine == tuple(
                    sorted(consultant().reach.open_weights(guard, finding, specimen))
                )


def test_a_varied_fact_lets_pass_what_a_fresh_one_does():
    flat = FlatRules(consultant().normal.by_family[Family.FORBID])
    kind = flat.kind("finding")
    base = next(f for facts in scenes() for f in facts if f.kind == "finding")
    for name, slot in consultant().vocabulary.kinds["finding"].items():
        for value in slot.values or ():
            fields = {**base.fields, name: value}
            varied = Varied("finding", base.key, fields, base, name)
            assert kind.of_fact(varied) == kind.of(fields)


def pattern(kind, absent=False, allowed=(), variables=()):
    return Pattern(kind, absent, tuple(allowed), tuple(variables))


def test_what_must_be_joined_is_not_flat():
    def rule(*patterns, variables=()):
        return NormalRule("r", Family.FORBID, patterns, (Template("forbid", (), variables),))

    settled = pattern("finding", variables=[("id", "f"), ("settled", "d")])
    reading = pattern("reading", variables=[("deposit", "d"), ("finding", "f")])
    assert is_flat(rule(pattern("finding", variables=[("id", "f")])))
    assert not is_flat(rule(settled, reading))
    assert not is_flat(rule(reading, reading))
    assert not is_flat(rule(reading, variables=(("deposit", "d"),)))
    shared = pattern("state", variables=[("condition", "c")])
    assert not is_flat(rule(shared, pattern("state", True, variables=[("condition", "c")])))


def test_an_absence_stops_its_rule():
    rule = NormalRule(
        "r",
        Family.GATE,
        (
            pattern("finding", variables=[("id", "f")]),
            pattern("reading", True, [("standing", frozenset({"settled"}))], [("finding", "f")]),
        ),
        (),
    )
    flat = FlatRules([rule])
    finding = Fact("finding", "f1", {"id": "f1"})
    doubtful, settled = (
        Fact("reading", f"f1/{n}", {"finding": "f1", "standing": n}) for n in ("open", "settled")
    )
    assert flat.fired(passed(flat, [finding, doubtful])) == 1
    assert flat.fired(passed(flat, [finding, doubtful, settled])) == 0


def with_joined_rule() -> Consultant:
    """Return the shipped rules with one that must be joined."""
    method = sorted(shipped().methods)[:40]
    patterns = (
        pattern("finding", variables=[("id", "f"), ("settled", "d")]),
        pattern("reading", variables=[("deposit", "d"), ("finding", "f")]),
    )
    template = Template("forbid", (("method", tuple(method)),), (("finding", "f"),))
    normal = consultant().normal
    # It takes the place of another, whose sentence it borrows.
    rules = [r for r in normal.by_family[Family.FORBID] if r.id != BORROWED]
    rule = NormalRule(BORROWED, Family.FORBID, patterns, (template,))
    by_family = {**normal.by_family, Family.FORBID: (*rules, rule)}
    return Consultant(shipped(), NormalRules(normal.vocabulary, by_family))


def test_the_look_ahead_joins_what_is_not_flat():
    made = with_joined_rule()
    assert Lookahead(made, Bench()).parts.flat.rest
    changed = 0
    for seed in range(40):
        case, bench = drawn(made, seed)
        judge = AirJudge(shipped(), bench, DayLedger())
        look = Lookahead(made, bench, judge)
        conclusions = made.consult(case, bench, plain=True)
        skeleton = SkeletonMaker(made).from_conclusions(case, bench, judge, conclusions)
        outlook = look.of_case(case)
        first = skeleton.items[0].step if skeleton.items else None
        assert (outlook.step, outlook.stage) == (first, skeleton.stage)
        rungs = {ladder.target.key: ladder.rungs for ladder in skeleton.ladders}
        assert all(rungs[key] == mine for key, mine in outlook.rungs)
        changed += any(c.rule == BORROWED for c in conclusions.of(Family.FORBID))
    assert changed
