"""Promises on whole plans: freezing, old poison, bloom, and a word where no ladder is left."""

import itertools
import random
from functools import cache

import pytest

from tests.knowledge.test_entries import (
    DEPOSITS,
    METHODS,
    QUESTIONS,
    TAXA,
    ZONES,
    step_of,
)
from tests.support.builders import SOUND, full_bench, planned, specimen
from tests.support.knowledge import consultant, planner, shipped
from triage.case.changes import new_case, new_finding
from triage.engine.casefacts import facts_from
from triage.engine.plain import evaluate
from triage.engine.vocabulary import UNKNOWN
from triage.exposure.day import DayLedger
from triage.knowledge.rules import Family
from triage.plan.airjudge import AirJudge
from triage.plan.skeleton import SkeletonMaker


def test_freezing_states_time_temperature_and_sources_that_differ() -> None:
    method, day_s = METHODS["freeze-quarantine"], 86_400
    # Conserve O Gram 3/6, 1994: 6 to 10 days at -20 C; a museum's list note: 72 h at -30 C.
    assert 6 * day_s <= method["dwell_s"]["start"] <= 10 * day_s
    words = " ".join([*method["do"], method["tool"]])
    assert "-20 degC" in words
    assert "bag shut" in words
    sources = {e["source"] for e in (*method["evidence"], *method["also"])}
    assert sources >= {"museum-freezing-1999", "bergh-freezing", "hampshire-freezing"}
    colder = {e["source"]: e for e in method["also"]}["leps-list-freezing-2000"]
    assert (colder["temp_c"]["most"], colder["dwell_s"]["start"]) == (-30, 3 * day_s)
    step = step_of("freeze-quarantine")
    assert step.dwell_s == method["dwell_s"]["start"]
    told = [*step.evidence, *[f"{each.says} {each.source}" for each in step.readings]]
    assert all(any(source in line for line in told) for source in sources)


POISON = "old-poison-signs"
GATES = {"gate-old-poison", "gate-old-poison-seen"}
POISON_GATES = tuple(r for r in consultant().normal.by_family[Family.GATE] if r.id in GATES)
# What was never in an older box, just killed, frozen or in fluid is not asked for old poison.
YOUNG = {("age", "since-1990"), *(("arrival", each) for each in ("fresh", "frozen", "in-fluid"))}


def _gate_open(answers: dict[str, str], signs: dict[str, str] | None = None) -> bool:
    findings = (new_finding("f1", "elytra", signs=signs or {}),)
    case = new_case("x", "t", taxon="beetles", answers=answers, findings=findings)
    facts = facts_from(case, full_bench(), consultant().vocabulary)
    assert len(POISON_GATES) == len(GATES)
    return not evaluate(POISON_GATES, facts)


def test_old_poison_gate_opens_for_its_own_answer_or_a_young_specimen_only() -> None:
    old = {**SOUND, "age": "before-1990", "arrival": "set-on-pin"}
    assert _gate_open({**old, POISON: "no"})
    assert not _gate_open({**old, POISON: "yes"})
    assert not _gate_open({q: a for q, a in old.items() if q != POISON})
    for question, answer in YOUNG:
        young = {**old, question: answer}
        assert _gate_open({q: a for q, a in young.items() if q != POISON})
        assert not _gate_open({**young, POISON: "yes"})


@pytest.mark.parametrize("said", ["yes", UNKNOWN])
def test_no_combination_of_other_answers_opens_the_old_poison_gate(said: str) -> None:
    own = {} if said == UNKNOWN else {POISON: said}
    opens = set() if own else YOUNG
    pairs = {about: [] for about in ("specimen", "zone")}
    for question, entry in QUESTIONS.items():
        told = [(question, str(answer["id"])) for answer in entry["answers"]]
        pairs[entry["about"]] += [pair for pair in told if pair not in opens]
    others = [pair for pair in pairs["specimen"] if pair[0] != POISON]
    for one, other in itertools.combinations(others, 2):
        assert not _gate_open(dict([*own.items(), one, other])), (one, other)
    for question, answer in pairs["zone"]:
        shut = {**SOUND, POISON: "yes"} if own else {}
        assert not _gate_open(shut, {question: answer}), (question, answer)
    # Larger combinations: the gates read these answers and nothing else, so none can matter.
    read = {field for gate in POISON_GATES for p in gate.patterns for field, _ in p.allowed}
    assert read == {POISON, *(question for question, _ in YOUNG)}
    variables = {name for g in POISON_GATES for p in g.patterns for name, _ in p.variables}
    assert variables <= {"taxon"}


@cache
def _judged() -> tuple[SkeletonMaker, AirJudge]:
    return SkeletonMaker(consultant()), planner().judge(full_bench(), DayLedger())


WHITE = ({"colour": "white", "sheen": "dull"}, {"colour": "white", "texture": "smooth-film"})


@pytest.mark.parametrize("groups", [5, pytest.param(len(TAXA), marks=pytest.mark.slow)])
def test_unknown_white_film_counts_as_bloom(groups: int) -> None:
    suspected, (maker, judge) = shipped().judgement.suspected.value, _judged()
    drawn = [
        (zone, taxon)
        for zone in sorted(ZONES)
        for taxon in (*random.Random(zone).sample(sorted(TAXA), groups), UNKNOWN)
    ]
    for (zone, taxon), signs in itertools.product(drawn, WHITE):
        case = specimen(taxon, (zone, signs))
        skeleton = maker.skeleton(case, full_bench(), judge, plain=True)
        (bloom,) = (
            r for r in skeleton.conclusions.readings_of("f1") if r.deposit == "natural-bloom"
        )
        assert bloom.reach >= suspected, (zone, taxon, signs)
        rungs = skeleton.ladder("f1").rungs
        assert all(METHODS[m].get("harmless") for m in rungs), (zone, taxon, signs, rungs)


@pytest.mark.parametrize("deposit", sorted(DEPOSITS))
def test_a_plan_without_a_ladder_says_leave_it(deposit: str) -> None:
    """Where nothing is permitted the plan itself says why the deposit stays."""
    for zone, taxon in (
        ("compound-eye", "butterflies-moths"),
        ("wing-scaled", UNKNOWN),
        ("elytra", "beetles"),
    ):
        plan = planned(specimen(taxon, (zone, deposit)))
        cleaning = [s for s in plan.steps if s.finding == "f1"]
        if not cleaning and plan.findings[0].state in ("left", "stopped"):
            assert any(DEPOSITS[deposit]["leave_it"] in n.text for n in plan.notices), (zone, taxon)
        elif plan.findings[0].state == "waiting":
            # The way is not closed: the plan names what would open it.
            (waits,) = plan.waiting
            assert waits.questions
            assert any(waits.questions[0].ask in n.text for n in plan.notices)
        else:
            assert cleaning or plan.findings[0].state in ("unsettled", "open"), (zone, taxon)
