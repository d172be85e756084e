"""The knowledge that the project ships, loaded and compiled once for all tests of a process."""

from __future__ import annotations

import os
import shutil
from functools import cache
from pathlib import Path

from triage.engine.consult import Consultant
from triage.knowledge.book import Knowledge
from triage.knowledge.load import load_knowledge
from triage.plan.planner import Planner

# A test of an added entry runs the tests of entries on a copy of the rules, named here.
RULES = Path(os.environ.get("TRIAGE_TEST_RULES") or Path(__file__).resolve().parents[2] / "rules")


def copy_demo(folder: Path) -> Path:
    """Copy the demo cases, without what another program just keeps beside them."""
    cases = Path(__file__).resolve().parents[2] / "cases"
    return shutil.copytree(cases, folder, ignore=shutil.ignore_patterns(".*"))


@cache
def shipped() -> Knowledge:
    """Return the shipped knowledge."""
    return load_knowledge(RULES)


@cache
def consultant() -> Consultant:
    """Return the compiled rulebase of the shipped knowledge."""
    return Consultant(shipped())


@cache
def planner() -> Planner:
    """Return a planner on the shipped knowledge."""
    return Planner(consultant())
