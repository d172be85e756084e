"""The whole day ledger: 50 attempts. Run with ``--benchmark-only``; aim 50 ms."""

import numpy as np
import pytest

from triage.exposure.day import DayLedger, Release, judge_day
from triage.exposure.judge import judge_release
from triage.exposure.space import Room
from triage.exposure.step import Terms
from triage.exposure.substance import Limit, Substance

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
