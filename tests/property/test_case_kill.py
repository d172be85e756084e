"""A program killed at any moment of its writing loses no acknowledged attempt."""

from __future__ import annotations

import random
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from triage.case.changes import new_case
from triage.case.store import append_attempt, create_case, load_case

ROOT = Path(__file__).parents[2]

# Acknowledges an attempt (one line, flushed) only after the store has returned.
WRITER = """
import sys
sys.path.insert(0, sys.argv[1])
from datetime import UTC, datetime
from triage.case.changes import new_attempt
from triage.case.store import append_attempt
at = datetime(2026, 3, 2, tzinfo=UTC)
print("ready", flush=True)
while True:
    case = append_attempt(
        sys.argv[2],
        lambda case: new_attempt(case.next_attempt_id(), at, "s1", "better", note=sys.argv[3]),
    )
    print(case.attempts[-1].id, flush=True)
"""


def kill_while_writing(path: Path, delay_s: float, label: str) -> list[str]:
    """Start a writer, kill it after ``delay_s`` and return what it acknowledged."""
    writer = subprocess.Popen(
        [sys.executable, "-c", WRITER, str(ROOT), str(path), label],
        stdout=subprocess.PIPE,
        text=True,
    )
    assert writer.stdout is not None
    assert writer.stdout.readline() == "ready\n"
    time.sleep(delay_s)
    writer.send_signal(signal.SIGKILL)
    told = writer.stdout.read()
    writer.stdout.close()
    assert writer.wait() == -signal.SIGKILL
    return [line for line in told.splitlines(keepends=False) if told.endswith("\n") or line]


def kills(folder: Path, count: int, seed: int) -> tuple[int, int]:
    """Kill ``count`` writers one after another; return kills and acknowledged attempts."""
    rng = random.Random(seed)
    path = create_case(folder, new_case("card", "Card"))
    with path.open("a", encoding="utf-8") as stream:
        stream.write("# a remark at the end\n")
    recorded: list[tuple[str, str]] = []
    acknowledged = 0
    for number in range(count):
        if len(recorded) > 150:  # keep the file small, so that many writes meet each kill
            path.unlink()
            path = create_case(folder, new_case("card", "Card"))
            recorded = []
        told = kill_while_writing(path, rng.uniform(0.0, 0.06), f"run-{number}")
        acknowledged += len(told)
        held = [(attempt.id, attempt.note) for attempt in load_case(path).attempts]
        own = [pair for pair in held[len(recorded) :] if pair[1] == f"run-{number}"]
        # What stood there before, then what this run told, then at most the one in flight.
        assert held[: len(recorded)] == recorded
        assert held[len(recorded) :] == own
        assert [pair[0] for pair in own][: len(told)] == told
        assert len(own) - len(told) in (0, 1)
        recorded = held
    # The next program finds neither a stale lock nor a stale temporary file in its way.
    append_attempt(
        path, lambda case: case.attempts[0].model_copy(update={"id": "a9999"}), timeout_s=5
    )
    return count, acknowledged


def test_killed_writers_lose_nothing_sample(tmp_path: Path) -> None:
    count, acknowledged = kills(tmp_path, count=30, seed=1)
    assert count == 30
    assert acknowledged > 30  # else the kills met no writing and the test showed nothing


@pytest.mark.slow
def test_killed_writers_lose_nothing(tmp_path: Path) -> None:
    count, acknowledged = kills(tmp_path, count=200, seed=2)
    print(f"{count} kills, {acknowledged} acknowledged attempts, 0 lost, 0 unreadable files")
    assert acknowledged > 200
