"""The outline of a changed case is the skeleton that forward chaining gives."""

from __future__ import annotations

import random

import pytest

from tests.support.explaining import demo_cases, drawn_case, look_on, maker
from tests.support.knowledge import consultant
from triage.case import changes
from triage.engine.many import with_values

SAMPLE = range(40)
FULL = range(500)
CHANGES = 4


def difference(case, bench, look, outline, by=None) -> str:
    """Return how an outline differs from the skeleton of experta, empty if it does not."""
    skeleton = (by or maker()).skeleton(case, bench, look.judge)
    expected, found = (
        (made.stage, made.refused, made.held, made.gates, [item.step for item in made.items])
        for made in (skeleton, outline)
    )
    if found != expected or outline.first != next(iter(skeleton.items), None):
        return f"{found} instead of {expected}"
    rungs, others = (
        {ladder.target.key: (ladder.rungs, ladder.problem) for ladder in made.ladders}
        for made in (skeleton, outline)
    )
    return "" if rungs == others else f"{others} instead of {rungs}"


def changed(case, rng):
    """Return a place, an answer and the case with that answer recorded."""
    knowledge = consultant().knowledge
    question = rng.choice([*knowledge.questions.values()])
    if question.about == "zone" and not case.findings:
        return None
    answer = rng.choice([*[a.id for a in question.answers], "unknown"])
    value = None if answer == "unknown" else answer
    if question.about == "specimen":
        if rng.random() < 0.2:
            taxon = rng.choice([*knowledge.taxa, "unknown"])
            return ("specimen", "taxon"), taxon, changes.with_taxon(case, taxon)
        return (
            ("specimen", question.id),
            answer,
            changes.with_answer(case, question.id, value),
        )
    finding = rng.choice(case.findings).id
    return (finding, question.id), answer, changes.with_sign(case, finding, question.id, value)


def differences(seeds, per_case=CHANGES):
    for seed in seeds:
        case, bench = drawn_case(seed)
        look = look_on(bench)
        facts, work = look.facts(case), look.work(case)
        if found := difference(case, bench, look, look.outline(facts, work)):
            yield f"seed {seed}: {found}"
        rng = random.Random(seed)
        for _ in range(per_case):
            drawn = changed(case, rng)
            if drawn is None:
                continue
            place, answer, other = drawn
            outline = look.outline(with_values(facts, {place: answer}), work)
            if found := difference(other, bench, look, outline):
                yield f"seed {seed}, {place} {answer}: {found}"


@pytest.mark.parametrize("seeds", [SAMPLE, pytest.param(FULL, marks=pytest.mark.slow)])
def test_outlines_are_those_of_forward_chaining(seeds):
    assert list(differences(seeds)) == []


@pytest.mark.parametrize(("case", "bench"), demo_cases(), ids=lambda v: getattr(v, "id", ""))
def test_outlines_of_the_demo_cases_are_those_of_forward_chaining(case, bench):
    look = look_on(bench)
    assert difference(case, bench, look, look.of_case(case)) == ""
