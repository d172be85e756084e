"""Deliberately broken rules are caught: one mutant of some kinds, the others run as a command."""

from __future__ import annotations

import pytest

from tests.proof.breaking import OPERATORS, mutants
from tests.proof.mutations import SECOND, Judge, Score, Verdict
from tests.support.knowledge import shipped

# kind -> the check that must find every mutant of it, were there no other.
CAUGHT = {
    "limit-tenfold": SECOND,
    "drop-limit": SECOND,
    "vapour-a-tenth": SECOND,
    "allow-a-banned-agent": SECOND,
    "drop-condition-of-forbid": "rule cases",
    "drop-forbid-rule": "rule cases",
    "warmer-tenfold": "load",
    "flip-condition-of-gate": "rule cases",
    "unknown-source": "load",
}


@pytest.fixture(scope="module")
def judge() -> Judge:
    return Judge(shipped())


@pytest.mark.parametrize("kind", CAUGHT)
def test_a_mutant_is_caught_by_the_check_that_is_there_for_it(kind: str, judge: Judge) -> None:
    make, _ = OPERATORS[kind]
    name, broken = next(iter(make(shipped())))
    assert judge.verdict(broken).check == CAUGHT[kind], name


def test_a_value_that_the_rule_says_to_be_absent_changes_nothing(judge: Judge) -> None:
    """The gate asks what is open: which answers close the question its ``absent`` says alone."""
    make, _ = OPERATORS["narrow-values-of-gate"]
    found = dict(make(shipped()))
    name = "gate-rider-unasked {}finding.keep without wear"
    assert judge.verdict(found[name.format("")]).same
    assert judge.verdict(found[name.format("absent ")]).check == "rule cases"


def test_there_are_mutants_of_every_kind() -> None:
    assert {mutant.kind for mutant in mutants(shipped())} == set(OPERATORS)


def test_a_survivor_is_listed_and_one_of_an_interlock_breaks_the_promise() -> None:
    score = Score()
    score.note("any", "one", Verdict("load"), is_vital=True)
    assert score.is_good()
    score.note("any", "two", Verdict(), is_vital=True)
    assert not score.is_good()
    assert any("survived (VITAL): any: two" in line for line in score.lines())
