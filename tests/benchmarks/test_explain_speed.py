"""Consult, question and counterfactuals on 6 zones and 10 findings. Run with ``--benchmark-only``.

Aims on a quiet machine: one explained consult median under 8 ms and 99th percentile under 20 ms,
next best question under 300 ms, complete single changes under 200 ms. Every round of a cold
figure takes a case that this process has never seen, on the full rulebase, loaded as the program
loads it; what is kept of a case goes with its look-ahead. Figures are kept in ``extra_info`` and
printed at the end; nothing here fails for being slow. Where others work on the machine, add
``--benchmark-timer=time.process_time``.
"""

from __future__ import annotations

import random
from itertools import count

import pytest

from tests.proof.asking import Measured, asked_of_invented
from tests.support.case_gen import speaking_signs
from tests.support.explaining import likelihood
from tests.support.intake import TOLD
from tests.support.knowledge import consultant, shipped
from triage.case.changes import new_case, new_finding
from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.memory import spare_loaded
from triage.explain.counterfactual import Searching
from triage.explain.nextquestion import ranked_questions
from triage.explain.sureplan import firmness_of
from triage.explain.sweep import Lookahead, Sweep

ZONES = ("thorax-hairy", "compound-eye", "wing-membranous", "leg", "abdomen-hairy", "antenna")
FINDINGS = 10
READY = {name: told for name, told in TOLD.items() if name != "photographed-before"}


SEEDS = count()
FIGURES: list[str] = []


@pytest.fixture(scope="module", autouse=True)
def loaded():
    """Load the knowledge as the program does."""
    shipped()
    spare_loaded()


def unseen() -> Case:
    """Return a case of ten findings in six zones, two or three signs each, not drawn before."""
    seed = next(SEEDS)
    rng = random.Random(seed)
    by_deposit = speaking_signs(consultant())
    findings = []
    for number in range(FINDINGS):
        pairs = by_deposit[rng.choice(sorted(by_deposit))]
        signs = dict(rng.sample(pairs, min(len(pairs), rng.randint(2, 3))))
        findings.append(new_finding(f"f{number + 1}", ZONES[number % 6], signs=signs))
    taxon = rng.choice(sorted(shipped().taxa))
    return new_case(f"unseen-{seed}", taxon=taxon, answers=READY, findings=tuple(findings))


def percentile(benchmark, share: float) -> float:
    """Return a percentile of the rounds [ms]."""
    rounds = sorted(benchmark.stats.stats.data)
    return 1000 * rounds[min(len(rounds) - 1, int(share * len(rounds)))]


def report(benchmark, what: str) -> None:
    if benchmark.stats is None:
        return
    middle, late = percentile(benchmark, 0.5), percentile(benchmark, 0.99)
    text = f"{what}: median {middle:.1f} ms, 99 % {late:.1f} ms"
    benchmark.extra_info["figure"] = text
    FIGURES.append(text)


@pytest.fixture(scope="module", autouse=True)
def figures(request, loaded):
    """Print the figures where they can be read, whatever is captured."""
    yield
    capture = request.config.pluginmanager.get_plugin("capturemanager")
    with capture.global_and_fixture_disabled():
        print("", *FIGURES, sep="\n")


@pytest.mark.parametrize("plain", [False, True], ids=["forward-chaining", "pure-function"])
def test_explained_consult(benchmark, plain):
    consult = consultant().consult
    consult(unseen(), Bench(), plain=plain)
    found = benchmark.pedantic(
        consult,
        setup=lambda: ((unseen(), Bench()), {"plain": plain}),
        rounds=300,
        warmup_rounds=10,
    )
    assert len(found.readings) >= 10
    report(benchmark, f"explained consult, {'pure function' if plain else 'forward chaining'}")


@pytest.fixture(scope="module")
def parts():
    look = Lookahead(consultant(), Bench())
    Searching(Sweep(look, unseen()), ()).singles()
    return look


def fresh(parts: Lookahead) -> Lookahead:
    """Return a look-ahead that has seen no case yet; the air of the bench is known."""
    return Lookahead(consultant(), Bench(), parts.judge, many=parts.many)


def rounds_of(benchmark, run, parts, rounds: int):
    """Time ``run`` on a case never seen before in each round; return what it last gave."""
    likelihood()
    return benchmark.pedantic(
        run, setup=lambda: ((fresh(parts), unseen()), {}), rounds=rounds, warmup_rounds=1
    )


def test_next_best_question(benchmark, parts):
    run = lambda look, case: (ranked_questions(Sweep(look, case), likelihood()), True)
    assert rounds_of(benchmark, run, parts, 40)
    report(benchmark, "next best question, case never seen")


def test_next_best_question_again(benchmark, parts):
    """What a person waits for where the same case is asked about again."""
    case = unseen()
    run = lambda: (ranked_questions(Sweep(parts, case), likelihood()), True)
    run()
    assert benchmark.pedantic(run, rounds=20)
    report(benchmark, "next best question, same case again")


def singles(look: Lookahead, case: Case):
    sweep = Sweep(look, case)
    offered = {method for ladder in sweep.base.ladders for method in ladder.offered}
    return Searching(sweep, offered).singles()


def test_complete_single_changes(benchmark, parts):
    assert rounds_of(benchmark, singles, parts, 40)
    report(benchmark, "all single changes, case never seen")


def test_complete_single_changes_again(benchmark, parts):
    case = unseen()
    singles(parts, case)
    assert benchmark.pedantic(singles, (parts, case), rounds=20)
    report(benchmark, "all single changes, same case again")


def test_firmness_of_every_step(benchmark, parts):
    case = unseen()
    sweep = Sweep(parts, case)
    ranked = ranked_questions(sweep, likelihood())
    assert benchmark(firmness_of, sweep, ranked)
    report(benchmark, "firmness of every step")


def test_questions_needed_on_invented_cases(benchmark, parts):
    """The figure itself: questions asked against all in file order, with the same first step."""

    def measured():
        return Measured(tuple(asked_of_invented(parts, likelihood(), seed) for seed in range(10)))

    found = benchmark.pedantic(measured, rounds=1)
    benchmark.extra_info["figure"] = found.line()
    print(found.line())
    assert found.agreeing == len(found.cases)
