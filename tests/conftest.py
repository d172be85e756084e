from __future__ import annotations

import gc
import os
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.support import knowledge as shared
from tests.support.running import share_rules
from triage.engine.consult import Consultant
from triage.knowledge.book import Knowledge
from triage.plan.planner import Planner
from triage.service.workshop import Workshop, open_workshop

ROOT = Path(__file__).resolve().parents[1]
NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)

slow = [HealthCheck.too_slow, HealthCheck.function_scoped_fixture]
# The suite draws the same examples every time, so that it says the same of the same tree; who looks
# for new ones sets TRIAGE_DRAW=1, and the long runs of DEVELOPERS.md draw by seeds of their own.
settings.register_profile("same", deadline=None, suppress_health_check=slow, derandomize=True)
settings.register_profile("drawn", deadline=None, suppress_health_check=slow)
settings.load_profile("drawn" if os.environ.get("TRIAGE_DRAW") else "same")
# The rules are hundreds of thousands of objects that live as long as the tests do. To look through
# them for garbage as often as Python does by itself takes a fifth of the processor time of the suite,
# to do it after 20,000 new ones a seventh.
gc.set_threshold(100_000, 50, 10)


def pytest_collection_finish() -> None:
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session", autouse=True)
def _rules_read_once() -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        share_rules(patch)
        yield


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    return shared.shipped()


@pytest.fixture(scope="session")
def consultant() -> Consultant:
    return shared.consultant()


@pytest.fixture(scope="session")
def planner() -> Planner:
    return shared.planner()


@pytest.fixture
def demo(tmp_path: Path) -> Path:
    """A copy of the demo cases that a test may change."""
    folder = tmp_path / "cases"
    shutil.copytree(ROOT / "cases", folder)
    return folder


@pytest.fixture
def workshop(demo: Path) -> Workshop:
    return open_workshop(cases=demo, clock=lambda: NOON)
