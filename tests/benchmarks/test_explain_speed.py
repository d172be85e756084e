"""Consult, question and counterfactuals on 6 zones and 10 findings. Run with ``--benchmark-only``.

Aims on a quiet machine: one explained consult median under 8 ms and 99th percentile under 20 ms,
next best question under 300 ms, complete single changes under 200 ms. Figures are printed by
pytest-benchmark and kept in ``extra_info``; nothing here fails for being slow.
"""

from __future__ import annotations

import pytest

from tests.support.explaining import likelihood
from tests.support.knowledge import consultant
from triage.case.changes import new_case, new_finding
from triage.case.profile import Bench
from triage.explain.counterfactual import Searching
from triage.explain.measure import measure_questions
from triage.explain.nextquestion import ranked_questions
from triage.explain.sensitivity import firmness_of
from triage.explain.sweep import Sweep
from triage.plan.lookahead import Lookahead

ZONES = ("thorax-hairy", "compound-eye", "wing-membranous", "leg", "abdomen-hairy", "antenna")
SIGNS = (
    {"sheen": "wet-gloss", "setae": "points", "blotter": "oil-spot"},
    {"sheen": "dull", "colour": "clear"},
    {"texture": "grains", "puff": "moves"},
    {"colour": "white", "texture": "needles-plates"},
    {"sheen": "dull", "texture": "grains", "puff": "part-moves"},
)
READY = {
    "worth-it": "yes", "whole": "whole", "lacquered": "no", "old-poison-signs": "no",
    "live-pest-signs": "no", "urticating-hairs": "no", "mouldy-smell": "no", "age": "since-1990",
    "size": "medium", "hydration": "supple", "joints-stuck": "none", "cracks": "none",
    "missing-parts": "none", "pest-holes": "none", "pollen-wanted": "no",
}  # fmt: skip


@pytest.fixture(scope="module")
def case():
    """Ten findings in six zones, three to two signs each."""
    findings = tuple(new_finding(f"f{n + 1}", ZONES[n % 6], signs=SIGNS[n % 5]) for n in range(10))
    return new_case("ten-findings", taxon="bees-wasps", answers=READY, findings=findings)


def percentile(benchmark, share: float) -> float:
    """Return a percentile of the rounds [ms]."""
    rounds = sorted(benchmark.stats.stats.data)
    return 1000 * rounds[min(len(rounds) - 1, int(share * len(rounds)))]


def report(benchmark, what: str) -> None:
    if benchmark.stats is None:
        return
    text = f"{what}: median {percentile(benchmark, 0.5):.1f} ms, 99 % {percentile(benchmark, 0.99):.1f} ms"
    benchmark.extra_info["figure"] = text
    print(text)


def test_explained_consult_by_forward_chaining(benchmark, case):
    consult = consultant().consult
    consult(case, Bench())
    found = benchmark.pedantic(consult, (case, Bench()), rounds=200, warmup_rounds=5)
    assert len(found.readings) >= 10
    report(benchmark, "explained consult, experta")


def test_explained_consult_as_a_pure_function(benchmark, case):
    consult = consultant().consult
    found = benchmark.pedantic(
        consult, (case, Bench()), {"plain": True}, rounds=200, warmup_rounds=5
    )
    assert len(found.readings) >= 10
    report(benchmark, "explained consult, pure function")


@pytest.fixture(scope="module")
def parts():
    return Lookahead(consultant(), Bench())


def fresh(parts: Lookahead) -> Lookahead:
    """Return a look-ahead that has seen no case yet; the air of the bench is known."""
    return Lookahead(consultant(), Bench(), parts.judge, parts=parts.parts)


def test_next_best_question(benchmark, case, parts):
    run = lambda look: ranked_questions(Sweep(look, case), likelihood())
    run(parts)
    found = benchmark.pedantic(run, setup=lambda: ((fresh(parts),), {}), rounds=10)
    assert found
    report(benchmark, "next best question, nothing kept from before")


def test_next_best_question_after_another_answer(benchmark, case, parts):
    """What a person waits for at the bench: the look-ahead has seen the case before."""
    run = lambda: ranked_questions(Sweep(parts, case), likelihood())
    run()
    assert benchmark.pedantic(run, rounds=20)
    report(benchmark, "next best question, look-ahead warm")


def test_complete_single_changes(benchmark, case, parts):
    offered = {m for _, rungs in parts.of_case(case).rungs for m in rungs}
    run = lambda look: Searching(Sweep(look, case), offered).singles()
    run(parts)
    found = benchmark.pedantic(run, setup=lambda: ((fresh(parts),), {}), rounds=10)
    assert found
    report(benchmark, "all single changes, nothing kept from before")


def test_complete_single_changes_again(benchmark, case, parts):
    offered = {m for _, rungs in parts.of_case(case).rungs for m in rungs}
    run = lambda: Searching(Sweep(parts, case), offered).singles()
    run()
    assert benchmark.pedantic(run, rounds=20)
    report(benchmark, "all single changes, look-ahead warm")


def test_firmness_of_every_step(benchmark, case, parts):
    from tests.support.explaining import maker

    items = maker().skeleton(case, Bench(), parts.judge, plain=True).items
    sweep = Sweep(parts, case)
    ranked = ranked_questions(sweep, likelihood())
    assert benchmark(firmness_of, sweep, items, ranked)
    report(benchmark, "firmness of every step")


def test_questions_needed_on_invented_cases(benchmark, parts):
    """The figure itself: questions asked against all in file order, with the same first step."""
    found = benchmark.pedantic(measure_questions, (parts, 10), rounds=1)
    benchmark.extra_info["figure"] = found.sentence()
    print(found.sentence())
    assert found.agreeing == len(found.cases)
