"""One compiled rulebase for all tests of the interface: only the cases differ."""

import shutil
from collections.abc import AsyncIterator, Callable
from pathlib import Path

import pytest

from tests.tui.driving import CASE, Driver, Hand, driven
from triage.case.profile import BENCH_FILE, Bench, load_bench
from triage.engine.consult import Consultant
from triage.service.listing import Clock
from triage.service.workshop import Workshop

ROOT = Path(__file__).resolve().parents[2]
Opened = Callable[..., Workshop]


@pytest.fixture(scope="session")
def opened_on(consultant: Consultant) -> Opened:
    """Return a function that opens a workshop on a folder, without compiling the rules again."""

    def opened(cases: Path, clock: Clock | None = None) -> Workshop:
        path = cases / BENCH_FILE
        bench = load_bench(path) if path.is_file() else Bench()
        return Workshop(consultant, cases, bench, path if path.is_file() else None, clock or Hand())

    return opened


@pytest.fixture
def workshop(demo: Path, opened_on: Opened) -> Workshop:
    return opened_on(demo)


@pytest.fixture(scope="session")
def looking(tmp_path_factory: pytest.TempPathFactory, opened_on: Opened) -> Workshop:
    """The demo cases for tests that only look."""
    folder = tmp_path_factory.mktemp("looking") / "cases"
    folder.mkdir()
    for name in ("bumblebee-plate-3", "hoverfly-plate-2", "bench"):
        shutil.copy(ROOT / "cases" / f"{name}.yaml", folder)
    return opened_on(folder)


@pytest.fixture
async def driver(workshop: Workshop) -> AsyncIterator[Driver]:
    """The plan of the bumblebee in a folder that a test may change."""
    async with driven(workshop, case=CASE) as opened:
        yield opened


@pytest.fixture
async def looker(looking: Workshop) -> AsyncIterator[Driver]:
    """The same for tests that only look."""
    async with driven(looking, case=CASE) as opened:
        yield opened
