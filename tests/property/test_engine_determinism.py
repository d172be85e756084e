"""The same case gives the same plan to the byte, whatever the process, the order, the hash seed."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor

import pytest

from tests.support.case_gen import drawn
from tests.support.knowledge import CASES, ROOT, RULES, consultant
from triage.case.store import create_case

SEEDS = tuple(range(6))


def in_process(words, hash_seed: int) -> bytes:
    environment = {**os.environ, "PYTHONHASHSEED": str(hash_seed), "PYTHONPATH": str(ROOT)}
    done = subprocess.run(
        [sys.executable, *words], cwd=ROOT, env=environment, capture_output=True, check=False
    )
    assert done.returncode == 0, done.stderr.decode()[-2000:]
    return done.stdout


@pytest.fixture
def rules(tmp_path):
    """A copy, so that all processes read the same knowledge while someone edits the files."""
    return shutil.copytree(RULES, tmp_path / "rules")


def outputs(rules, count: int) -> set[bytes]:
    def shuffled_plans(number: int) -> bytes:
        words = ["-m", "tests.support.plan_shuffled", str(rules), str(number), *map(str, SEEDS)]
        return in_process(words, 1000 + 7919 * number)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        return set(pool.map(shuffled_plans, range(count)))


@pytest.mark.parametrize("processes", [2, pytest.param(50, marks=pytest.mark.slow)])
def test_shuffled_facts_rules_and_hash_seeds_give_one_plan(rules, processes):
    found = outputs(rules, processes)
    assert len(found) == 1
    (printed,) = found
    # Something was planned, or the bytes would agree about nothing.
    assert printed.count(b'"method":') > len(SEEDS)


BOTH = """\
import sys
from triage.cli import main
main(["plan", sys.argv[1], "--json"])
main(["explain", "bumblebee-plate-3", "--method", "brush-suction"])
"""


def test_the_command_prints_the_same_in_each_process(tmp_path, monkeypatch):
    """A plan, and reasons of equal weight: of two things that the bench lacks one is told first."""
    shutil.copytree(CASES, tmp_path / "cases")
    case, _ = drawn(consultant(), 3)
    create_case(tmp_path / "cases", case)
    monkeypatch.setenv("TRIAGE_HOME", str(tmp_path))
    printed = {in_process(["-c", BOTH, case.id], seed) for seed in (1, 4242)}
    assert len(printed) == 1
    plan, _, explained = next(iter(printed)).partition(b"\n}\n")
    assert case.id.encode() in plan
    assert explained.count(b"bench") > 1
