"""How soon the first screen stands, and how soon a key press is seen on it.

``pytest tests/benchmarks/test_interface_speed.py --benchmark-only -s``

The goals are those of the interface: the list of the demo cases within 1 s of the start of the
process, and 95 of 100 key presses on the screen within 100 ms on the largest demo case. Both are
printed as wall time and as processor time of all threads: on a machine that does other work too,
only the second says something.
"""

import asyncio
import json
import shutil
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from typing import Any, NamedTuple

import pytest
from textual import screen

from tests.support.knowledge import copy_demo
from tests.support.starting import ENVIRONMENT
from tests.tui.driving import CASE, Driver
from triage.service.workshop import open_workshop
from triage.tui import FRAMES_A_SECOND
from triage.tui.app import TriageApp
from triage.tui.screens.ofcase import LOOK_OUTSIDE_S
from triage.tui.services import Services

ROOT = Path(__file__).resolve().parents[2]
SIZE = (80, 24)
SHARES = (50, 95, 99)
# A person reads what came of a key, at least so long, before pressing the next one [s].
PACE_S = 1.0
# Keys by the screen they are pressed on; each way begins and ends at the plan of the case.
WAYS: tuple[tuple[str, tuple[str, ...]], ...] = (
    ("plan: move", ("down", "down", "down", "pagedown", "up", "end", "home")),
    ("plan: explain", ("f", "pagedown", "q")),
    ("plan: why", ("e", "1", "q")),
    ("plan: what if", ("e", "6", "1", "2", "q")),
    ("plan: keys", ("question_mark", "q")),
    ("observe: move", ("l", "down", "down", "up", "q")),
    ("questions: first", ("l", "Y", "1", "e", "q", "2", "u", "z", "1", "q", "q")),
    ("questions: more", ("l", "5", "1", "e", "q", "2", "y", "q", "q", "q")),
    ("walk", ("s", "e", "q", "m", "f9", "escape", "q", "q")),
    ("walk: outcome", ("s", "n", "enter", "n", "z", "o", "o", "p", "s", "enter", "q")),
    ("air", ("a", "f", "q", "enter", "q", "q")),
    ("bench", ("o", "down", "down", "q")),
    ("handbook", ("h", "down", "down", "slash", "m", "o", "u", "f9", "q")),
    ("photos", ("p", "q")),
    ("cases", ("q", "down", "up", "slash", "b", "u", "m", "enter")),
)


@pytest.fixture
def cases(tmp_path: Path) -> Path:
    """The demo cases; that of the keys has three findings, 33 steps: their largest plan."""
    return copy_demo(tmp_path / "cases")


# -- start -------------------------------------------------------------------------------------


def _started(cases: Path, home: Path) -> dict[str, float]:
    """Start the program as a process of its own, without a terminal; return its times."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.support.starting", str(cases)],
        cwd=ROOT,
        env=ENVIRONMENT | {"TRIAGE_HOME": str(home)},
        capture_output=True,
        text=True,
        check=True,
        timeout=120,
    )
    times: dict[str, float] = json.loads(done.stdout.splitlines()[-1])
    return times


@pytest.mark.benchmark(group="start")
def test_start_to_the_list_of_the_demo_cases(
    benchmark: Any, cases: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    cold = _started(cases, tmp_path)
    times: list[dict[str, float]] = []
    benchmark.pedantic(
        lambda: times.append(_started(cases, tmp_path)), rounds=5, iterations=1, warmup_rounds=1
    )
    assert all(each["cases"] == 6 for each in times)
    times.sort(key=lambda told: told["first_cpu"])
    named = {"the very first start": cold, "median": times[len(times) // 2], "slowest": times[-1]}
    with capsys.disabled():
        print("\nstart of the process to ... [s, wall / processor]")
        for what, told in named.items():
            print(
                f"  {what:<22} first list {told['first']:.2f} / {told['first_cpu']:.2f}, "
                f"planned anew {told['planned']:.2f} / {told['planned_cpu']:.2f}"
            )


# -- key presses -------------------------------------------------------------------------------

Times = tuple[float, float]


def _now() -> Times:
    """Return wall time and processor time [ms]."""
    return 1000 * time.perf_counter(), 1000 * time.process_time()


class Watched(TriageApp):
    """Notes when something was drawn."""

    CSS_PATH = ROOT / "triage" / "tui" / "app.tcss"
    drawn: list[Times] = []  # noqa: RUF012  (of the one program that is watched)

    def _display(self, screen: Any, renderable: Any) -> None:
        super()._display(screen, renderable)
        self.drawn.append(_now())


class Press(NamedTuple):
    """One key press: time to the first and to the last drawing that came of it [ms]."""

    way: str
    key: str
    first: Times
    last: Times


async def _pressed(driver: Driver, way: str, key: str) -> Press:
    """Press one key as the terminal would."""
    await asyncio.sleep(PACE_S)
    app, start = driver.app, _now()
    app.drawn[:] = []
    driver.send(key)
    quiet = 0
    while quiet < 3:
        await driver.pilot.pause()
        busy = any(not worker.is_finished and worker.group != "assure" for worker in app.workers)
        quiet = 0 if busy or getattr(app.screen, "is_at_work", False) else quiet + 1
        if busy:
            await asyncio.sleep(0.002)
    drawn = app.drawn or [start]
    ends = ((at[0] - start[0], at[1] - start[1]) for at in (drawn[0], drawn[-1]))
    return Press(way, key, *ends)


async def _all_ways(cases: Path, rounds: int) -> list[Press]:
    found: list[Press] = []
    app = Watched(Services(open_workshop(cases=cases)), case=CASE)
    async with app.run_test(size=SIZE) as pilot:
        driver = Driver(app, pilot, CASE)
        await asyncio.sleep(1.5)  # a person looks before the first key
        for _ in range(rounds):
            for way, keys in WAYS:
                # What was answered and recorded on one way must not bend the next one.
                shutil.copy(ROOT / "cases" / f"{CASE}.yaml", cases)
                await asyncio.sleep(2 * LOOK_OUTSIDE_S)
                assert driver.at("plan"), f"{way}: {driver.text}"
                found += [await _pressed(driver, way, key) for key in keys]
    return found


@pytest.mark.benchmark(group="keys")
def test_key_press_to_screen(
    benchmark: Any, cases: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # A plug-in of the tests has imported the framework before the program could set this.
    monkeypatch.setattr(screen, "UPDATE_PERIOD", 1 / FRAMES_A_SECOND)
    found: list[Press] = benchmark.pedantic(
        lambda: asyncio.run(_all_ways(cases, rounds=2)), rounds=1, iterations=1
    )
    with capsys.disabled():
        print(f"\n{len(found)} key presses, {CASE}, {SIZE[0]}x{SIZE[1]} [ms, wall / processor]")
        for way in [*(name for name, _ in WAYS), "ALL"]:
            many = [each for each in found if way in (each.way, "ALL")]
            told = (_spread([each.first for each in many]), _spread([each.last for each in many]))
            print(f"  {way:<17} {len(many):>3}  answered {told[0]}   all drawn {told[1]}")
        for what, end in (("answer", 2), ("end", 3)):
            slow = sorted(found, key=lambda each: -each[end][0])[:8]
            print(f"  last to {what}:", "; ".join(f"{p.way} {p.key} {p[end][0]:.0f}" for p in slow))
    assert len(found) > 100


def _spread(times: Sequence[Times]) -> str:
    """Return wall and processor time within which so many of a hundred end."""
    walls, used = (sorted(each) for each in zip(*times, strict=True))
    places = [(share, min(len(times) - 1, len(times) * share // 100)) for share in SHARES]
    return "  ".join(f"p{share} {walls[at]:4.0f} /{used[at]:4.0f}" for share, at in places)
