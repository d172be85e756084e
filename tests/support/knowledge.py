"""The knowledge and the demo that the project ships, loaded and compiled once for a process."""

import os
import shutil
from collections.abc import Callable, Iterable
from datetime import UTC, datetime
from functools import cache
from pathlib import Path
from typing import Any

from triage.case.profile import Bench, load_bench
from triage.case.store import load_case
from triage.engine.consult import Consultant
from triage.knowledge.book import Knowledge
from triage.knowledge.load import load_knowledge
from triage.plan.model import Plan
from triage.plan.planner import Planner

ROOT = Path(__file__).resolve().parents[2]
# A test of an added entry runs the tests of entries on a copy of the rules, named here.
RULES = Path(os.environ.get("TRIAGE_TEST_RULES") or ROOT / "rules")
CASES = ROOT / "cases"
DEMO = sorted(path for path in CASES.glob("*.yaml") if path.name != "bench.yaml")
NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)


def copy_demo(folder: Path) -> Path:
    """Copy the demo cases, without what another program just keeps beside them."""
    return shutil.copytree(CASES, folder, ignore=shutil.ignore_patterns(".*"))


@cache
def shipped() -> Knowledge:
    return load_knowledge(RULES)


@cache
def consultant() -> Consultant:
    return Consultant(shipped())


@cache
def planner() -> Planner:
    return Planner(consultant())


@cache
def demo_bench() -> Bench:
    return load_bench(CASES / "bench.yaml")


def demo_plan(name: str) -> Plan:
    return planner().plan(load_case(CASES / f"{name}.yaml"), demo_bench())


def each(held: Iterable[Any]) -> Callable[[Callable[..., None]], Callable[[], None]]:
    """Let a check of one entry be one test of all; an entry that is a tuple gives more arguments.

    A test of its own for each of thousands of entries takes longer to collect than to run.
    """
    entries = [entry if isinstance(entry, tuple) else (entry,) for entry in held]

    def over(check: Callable[..., None]) -> Callable[[], None]:
        def test() -> None:
            failed = {}
            for entry in entries:
                try:
                    check(*entry)
                except Exception as fault:  # noqa: BLE001  (whatever it is, it is told below)
                    failed[" ".join(map(str, entry))[:80]] = f"{type(fault).__name__}: {fault}"
            told = "\n".join(f"{name}: {fault}" for name, fault in failed.items())
            assert not failed, f"{len(failed)} of {len(entries)}\n{told}"
            assert entries

        test.__doc__ = check.__doc__
        return test

    return over
