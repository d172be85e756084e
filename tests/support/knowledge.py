"""The knowledge and the demo that the project ships, loaded and compiled once for a process."""

import os
from datetime import UTC, datetime
from functools import cache
from pathlib import Path

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
