"""Faults seeded by program into copies of the rules are found, each at its file and line.

The sample takes two of each class; the 200 run as ``python -m tests.proof faults``.
"""

from __future__ import annotations

import random
from dataclasses import replace

import pytest

from tests.proof.seeding import Plot, chosen, seed_all
from tests.proof.seeds import SEEDS
from tests.proof.texts import Texts
from tests.support.knowledge import consultant, shipped


@pytest.fixture(scope="module")
def folder():
    return shipped().root


@pytest.fixture(scope="module")
def plot(folder, tmp_path_factory) -> Plot:
    return Plot(folder, tmp_path_factory.mktemp("seeds"))


def test_there_are_seeds_of_every_class(folder):
    made = {seed.kind for seed in chosen(consultant(), folder, 200)}
    assert made == set(SEEDS)
    assert len(chosen(consultant(), folder, 200)) == 200


@pytest.mark.parametrize("kind", list(SEEDS))
def test_a_seeded_fault_is_found_at_its_line(kind, folder, plot):
    texts = Texts(consultant(), folder, random.Random(5))
    made = list(SEEDS[kind](texts))
    seed = random.Random(7).choice(made)
    assert seed.kind == kind
    assert plot.missed(seed) == ""


def test_a_seed_that_changes_nothing_is_missed(folder, plot):
    """Or none of the above could fail: the same seed without its edit is not found."""
    seed = chosen(consultant(), folder, 1)[0]
    text = (folder / seed.file).read_text(encoding="utf-8")
    assert plot.missed(replace(seed, make=lambda: {seed.file: text})) == "not found"


def test_a_seed_at_another_line_is_missed(folder, plot):
    seed = chosen(consultant(), folder, 1)[0]
    other = next(rule.id for rules in shipped().rules.values() for rule in rules)
    assert other != seed.entry
    assert plot.missed(replace(seed, entry=other)).startswith("found only")


@pytest.mark.slow
def test_two_hundred_seeded_faults_are_all_found(folder):
    found = seed_all(folder, 200)
    assert found.is_good(), found.missed
    assert sum(found.made.values()) == 200
