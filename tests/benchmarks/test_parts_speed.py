"""Three engines side by side, the air of a day, ten thousand cases with a hundred thousand attempts.

Run with ``--benchmark-only --benchmark-timer=time.process_time``: processor time is measured, so that
other work on the same machine does not count; on an idle one it is the time a person waits. One round
of the engines (experta, the pure function, CLIPS) consults every case of the sample once. Aims: a day
ledger of 50 attempts 50 ms, evidence under 1 s, a day of 60 cases under 5 s.
"""

import os
import time
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from tests.support.builders import OILY
from tests.support.case_gen import drawn
from tests.support.engines import ENGINES, runners
from tests.support.intake import TOLD
from triage.case.models import Case
from triage.case.profile import Bench, RoomProfile
from triage.case.reading import validated
from triage.engine.casefacts import facts_from
from triage.exposure.day import DayLedger, Release, judge_day
from triage.exposure.judge import judge_release
from triage.exposure.space import Room
from triage.exposure.step import Terms
from triage.exposure.substance import Limit, Substance
from triage.history.benchday import DayMaker
from triage.history.columns import OUTCOME_CODES, columns_from
from triage.history.daytypes import Hours
from triage.history.evidence import Evidence, terms_of, trials_of
from triage.history.index import INDEX, Index, _write, load_index

pytestmark = pytest.mark.benchmark(timer=time.process_time)
SEEDS = range(20)
CASES, EACH = 10_000, 10
MORNING = datetime(2026, 3, 2, 8, 30, tzinfo=UTC)


@pytest.mark.benchmark(group=f"{len(SEEDS)} generated cases, all families")
@pytest.mark.parametrize("engine", ENGINES)
def test_consult(benchmark, consultant, engine):
    samples = [facts_from(*drawn(consultant, seed), consultant.vocabulary) for seed in SEEDS]
    run = runners(consultant).get(engine)

    def consult_all():
        if engine == "experta":
            return [consultant.chain(facts) for facts in samples]
        return [consultant.consult_facts(facts, (), run) for facts in samples]

    expected = [consultant.consult_facts(facts, (), consultant.run_plain) for facts in samples]
    assert benchmark(consult_all) == expected


AGENTS = tuple(
    Substance(
        key, molar, 0.8, ((20.0, 5.0),), 2.0, 10.0,
        (Limit("a", "twa", twa), Limit("b", "stel", 2.0 * twa), Limit("c", "ceiling", 5.0 * twa)),
    )
    for key, molar, twa in (("one", 46.0, 1900.0), ("two", 92.0, 375.0), ("three", 58.0, 590.0))
)  # fmt: skip


@pytest.fixture
def day():
    random = np.random.default_rng(4)
    minutes, amounts = random.uniform(480.0, 1000.0, 50), random.uniform(1.0, 500.0, 50)
    agents = random.choice(["one", "two", "three"], 50).tolist()
    rows = zip(minutes, amounts, agents, random.uniform(0.0, 20.0, 50), strict=True)
    return DayLedger(tuple(Release(*row) for row in rows), AGENTS)


def test_day_of_fifty_attempts(benchmark, day):
    found = benchmark(judge_day, day, Room(30.0, 0.5))
    assert len(found.indices) == 3


def test_next_step_on_top_of_the_day(benchmark, day):
    found = benchmark(judge_release, AGENTS[0], 0.5, Room(30.0, 0.5), 10.0, Terms(ledger=day))
    assert found.mixture


@pytest.fixture(scope="module")
def many(tmp_path_factory):
    """A folder of ten thousand files with an index of a hundred thousand attempts beside it.

    The files are as small as a case can be: with an index in place their content is not read.
    """
    folder = tmp_path_factory.mktemp("many")
    names = [f"case-{n:05}.yaml" for n in range(CASES)]
    long_ago = MORNING.timestamp()
    stamps = []
    for name in names:
        path = folder / name
        path.write_text(f"format: 1\nid: {name[:-5]}\n", encoding="utf-8")
        os.utime(path, (long_ago, long_ago))
        status = path.stat()
        stamps.append((status.st_mtime_ns, status.st_size, status.st_ctime_ns))
    random = np.random.default_rng(1)
    rows = [
        {
            "file": names[n // EACH], "case": names[n // EACH][:-5], "taxon": f"t{n // EACH % 20}", "finding": f"f{n % EACH // 2}",
            "method": f"m{n * 7 % 40}", "deposit": f"d{n * 7 % 40 % 8 + random.integers(3)}",
            "zone": f"z{random.integers(8)}", "agent": "", "outcome": int(random.integers(len(OUTCOME_CODES))),
            "at_s": long_ago - n, "amount_ml": 0.5, "minutes": 5.0,
        }
        for n in range(CASES * EACH)
    ]  # fmt: skip
    texts = ("[" + ",".join(['["a1","","","","","","",""]'] * (CASES * EACH)) + "]").encode()
    index = Index(tuple(names), np.array(stamps), columns_from(rows), texts, frozenset())
    _write(folder / INDEX, index)
    return folder


def test_evidence_of_a_hundred_thousand_attempts(benchmark, many, knowledge):
    def evidence():
        index = load_index(many)
        made = Evidence(trials_of(index.columns), terms_of(knowledge))
        made.intervals()
        return made

    found = benchmark.pedantic(evidence, rounds=3, iterations=1, warmup_rounds=1)
    assert found.size > 50_000
    if benchmark.stats:
        assert benchmark.stats.stats.min < 1.0


def a_case(number):
    content = {
        "format": 1, "id": f"bee-{number:02}", "taxon": "bees-wasps",
        "answers": {**TOLD, "hydration": "dry" if number % 3 == 2 else "supple"},
        "findings": [
            {"id": "f1", "zone": "thorax-hairy", "signs": OILY},
            {"id": "f2", "zone": "compound-eye", "signs": {"sheen": "dull", "colour": "clear", "lens-look": "drying-rings"}},
        ],
    }  # fmt: skip
    if number % 3 == 1:
        skipped = ("blot-dry", "detergent-brush", "wash-detergent")
        content["overrides"] = [
            {"at": (MORNING - timedelta(days=1)).isoformat(), "kind": "skip-method", "finding": "f1",
             "method": method, "reason": "tried elsewhere"}
            for method in skipped
        ]  # fmt: skip
    return validated(Case, content)


def test_a_day_over_sixty_cases(benchmark, planner):
    cases = [a_case(number) for number in range(60)]
    bench = Bench(room=RoomProfile(volume_m3=40, air_changes_per_h=6, control="extraction"))
    planner.plan(cases[0], bench)  # the rulebase is compiled once in the life of the program

    def day():
        maker = DayMaker(planner, bench, DayLedger(), MORNING)
        return maker.make(cases, Hours(9 * 60, 18 * 60))

    found = benchmark.pedantic(day, rounds=3, iterations=1)
    assert len(found.plan.entries) > 60
    if benchmark.stats:
        assert benchmark.stats.stats.min < 5.0
