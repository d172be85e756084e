"""CLIPS, an engine by other people, draws the same conclusions from the same rules and facts."""

from __future__ import annotations

import multiprocessing
import os

import pytest

from tests.support.case_gen import drawn
from tests.support.knowledge import consultant, shipped
from tests.support.three_engines import Tally, compare
from triage.knowledge.rules import FAMILIES

SAMPLE = 80
FULL = 10_000


def test_three_engines_agree_on_generated_cases():
    tally = compare(range(SAMPLE))
    assert tally.differing == []
    # The comparison would be empty if the drawn cases reached nothing.
    assert all(tally.conclusions[family] > SAMPLE / 10 for family in FAMILIES), tally.conclusions
    assert tally.settled > SAMPLE / 4


def test_generated_cases_are_a_function_of_their_seed():
    assert drawn(consultant(), 5) == drawn(consultant(), 5)
    assert drawn(consultant(), 5) != drawn(consultant(), 6)


@pytest.mark.slow
def test_three_engines_agree_on_10000_cases(capsys):
    """The full run; prints what it covered."""
    size = 250
    parts = [range(start, start + size) for start in range(0, FULL, size)]
    total = Tally()
    with multiprocessing.get_context("spawn").Pool(os.cpu_count()) as pool:
        for tally in pool.imap_unordered(compare, parts):
            total.add(tally)
    rules = {rule.id for family in shipped().rules.values() for rule in family}
    silent = sorted(rules - total.fired)
    with capsys.disabled():
        print(f"\n{total.cases} cases, {sum(total.conclusions.values())} conclusions", end="")
        print(f" {dict(total.conclusions)}; {total.settled} findings settled;", end=" ")
        print(f"{len(total.differing)} differences")
        print(f"{len(rules) - len(silent)} of {len(rules)} rules fired; silent: {silent or 'none'}")
    assert total.cases == FULL
    assert total.differing == []
    # A rule that never fires was never compared, except on facts where all say nothing.
    assert silent == []
