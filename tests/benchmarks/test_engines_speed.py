"""Three engines side by side on the same cases: experta, the pure function, CLIPS.

Run with ``--benchmark-only --benchmark-timer=time.process_time``; one round consults every case of
the sample once.
"""

from __future__ import annotations

import pytest

from tests.support.case_gen import drawn
from tests.support.engines import ENGINES, runners
from tests.support.knowledge import consultant
from triage.engine.casefacts import facts_from

SEEDS = range(20)


@pytest.fixture(scope="module")
def samples():
    made = consultant()
    return [facts_from(*drawn(made, seed), made.vocabulary) for seed in SEEDS]


@pytest.mark.benchmark(group=f"{len(SEEDS)} generated cases, all families")
@pytest.mark.parametrize("engine", ENGINES)
def test_consult(benchmark, samples, engine):
    made = consultant()
    runs = runners(made)

    def consult_all():
        if engine == "experta":
            return [made.chain(facts) for facts in samples]
        return [made.consult_facts(facts, (), runs[engine]) for facts in samples]

    expected = [made.consult_facts(facts, (), made.run_plain) for facts in samples]
    assert benchmark(consult_all) == expected
