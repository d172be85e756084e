from __future__ import annotations

import gc
import os
from collections.abc import Iterator
from pathlib import Path

import pytest
from hypothesis import HealthCheck, settings

from tests.support import knowledge as shared
from tests.support.knowledge import NOON, copy_demo
from tests.support.running import Runner, runner, share_rules
from triage.engine.consult import Consultant
from triage.knowledge.book import Knowledge
from triage.plan.planner import Planner
from triage.service.workshop import Workshop, open_workshop

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


# Begun first: what begins last is waited for by everyone.
LONG = {
    "test_screens",
    "test_byte_for_byte",
    "test_every_method_of_the_demo_cases",
    "test_from_a_new_case_to_the_closed_box",
    "test_random_keys_at_full_speed",
    "test_no_promise_is_broken",
    "test_every_promise_was_checked",  # of the same sample
    "test_the_group_is_asked_where_only_it_and_a_sign_open_a_step",
    "test_large_photos_are_glanced_at_small_and_then_compared_whole",
}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    items.sort(key=lambda item: item.name.partition("[")[0] not in LONG)


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
    return copy_demo(tmp_path / "cases")


@pytest.fixture
def workshop(demo: Path) -> Workshop:
    return open_workshop(cases=demo, clock=lambda: NOON)


@pytest.fixture
def triage(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Runner:
    """Runs a command in this process, in a home of its own.

    To start Python and read the rules for each of a hundred commands would take a minute. The
    tests that call ``process`` hold that a true process does nothing else.
    """
    return runner(tmp_path, monkeypatch, capsys)
