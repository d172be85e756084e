"""Consult, question and counterfactuals on 6 zones and 10 findings. Run with ``--benchmark-only``.

Aims on a quiet machine: one explained consult median under 8 ms and 99th percentile under 20 ms,
next best question under 300 ms, complete single changes under 200 ms. Every round of a cold
figure takes a case that this process has never seen, on the full rulebase, loaded as the program
loads it; what is kept of a case goes with its look-ahead. Figures are kept in ``extra_info`` and
printed at the end; nothing here fails for being slow. Where others work on the machine, add
``--benchmark-timer=time.process_time``.
"""

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


def report(benchmark, what: str) -> None:
    if benchmark.stats is None:
        return
    rounds = sorted(1000 * each for each in benchmark.stats.stats.data)
    middle, late = (rounds[int(share * len(rounds))] for share in (0.5, 0.99))
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
    setup = lambda: ((unseen(), Bench()), {"plain": plain})
    found = benchmark.pedantic(consult, setup=setup, rounds=300, warmup_rounds=10)
    assert len(found.readings) >= 10
    report(benchmark, f"explained consult, {'pure function' if plain else 'forward chaining'}")


@pytest.fixture(scope="module")
def parts():
    look = Lookahead(consultant(), Bench())
    Searching(Sweep(look, unseen()), ()).singles()
    return look


def questions(look: Lookahead, case: Case):
    return ranked_questions(Sweep(look, case), likelihood()), True


def singles(look: Lookahead, case: Case):
    sweep = Sweep(look, case)
    offered = {method for ladder in sweep.base.ladders for method in ladder.offered}
    return Searching(sweep, offered).singles()


WHAT = {"next best question": questions, "all single changes": singles}


@pytest.mark.parametrize("what", WHAT)
@pytest.mark.parametrize("seen", ["case never seen", "same case again"])
def test_what_a_person_waits_for(benchmark, parts, what, seen):
    """On a case never seen before in each round, and where the same case is asked about again."""
    likelihood()
    run, case = WHAT[what], unseen()
    if seen == "same case again":
        run(parts, case)
        found = benchmark.pedantic(run, (parts, case), rounds=20)
    else:
        # A look-ahead that has seen no case yet; the air of the bench is known.
        fresh = lambda: Lookahead(consultant(), Bench(), parts.judge, many=parts.many)
        setup = lambda: ((fresh(), unseen()), {})
        found = benchmark.pedantic(run, setup=setup, rounds=40, warmup_rounds=1)
    assert found
    report(benchmark, f"{what}, {seen}")


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
