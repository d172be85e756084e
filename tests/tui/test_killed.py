"""Killed in the middle of a dwell: the timer is true on restart, nothing recorded is lost."""

import fcntl
import os
import pty
import re
import select
import shutil
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from tests.tui.conftest import ROOT
from tests.tui.driving import CASE
from triage.case.store import load_case

PATIENCE_S = 240.0


class Terminal:
    """The program in a terminal of its own."""

    def __init__(self, cases: Path) -> None:
        self.handle, inner = pty.openpty()
        fcntl.ioctl(inner, termios.TIOCSWINSZ, struct.pack("HHHH", 24, 80, 0, 0))
        self.program = subprocess.Popen(
            [sys.executable, "-m", "triage", CASE, "--cases", str(cases)],
            stdin=inner,
            stdout=inner,
            stderr=inner,
            cwd=ROOT,
            env={**os.environ, "TERM": "xterm-256color"},
            start_new_session=True,
        )
        os.close(inner)
        self.said = ""

    def press(self, key: str) -> None:
        os.write(self.handle, key.encode())

    def until(self, holds: Callable[[], object], what: str, key: str = "") -> None:
        """Wait; press a key until it has had its effect: one that comes before the screen is lost."""
        end, again = time.monotonic() + PATIENCE_S, 0.0
        while not holds():
            assert time.monotonic() < end, f"never: {what}\n{self.said[-3000:]!r}"
            assert self.program.poll() is None, self.said[-3000:]
            if key and time.monotonic() > again:
                self.press(key)
                again = time.monotonic() + 2.0
            if select.select([self.handle], [], [], 0.05)[0]:
                self.said += os.read(self.handle, 65536).decode("utf-8", "replace")

    def kill(self) -> None:
        os.kill(self.program.pid, signal.SIGKILL)
        self.program.wait()
        os.close(self.handle)


def test_sigkill_during_a_dwell(tmp_path: Path) -> None:
    cases = tmp_path / "cases"
    cases.mkdir()
    for name in (CASE, "bench"):
        shutil.copy(ROOT / "cases" / f"{name}.yaml", cases)
    path = cases / f"{CASE}.yaml"

    first = Terminal(cases)
    try:
        first.until(lambda: "NOW" in first.said, "plan")
        first.press("s")
        first.until(lambda: "start" in first.said, "step")
        first.until(lambda: load_case(path).attempts, "record", "n")
        first.until(lambda: "Recorded" in first.said, "what was recorded")
        first.said = ""
        first.press("\r")
        first.until(lambda: "start" in first.said, "the next pass")
        first.until(lambda: load_case(path).timers, "timer", "t")
    finally:
        first.kill()
    kept = load_case(path)
    timer = kept.timers[0]
    assert len(kept.attempts) == 1

    began = datetime.now(UTC)
    second = Terminal(cases)
    try:
        title = re.compile("\x1b\\]2;@ (\\d+):(\\d\\d) left")
        second.until(lambda: title.search(second.said), "time left in the title")
        minutes, seconds = title.findall(second.said)[-1]
        most, least = ((timer.ends - at).total_seconds() for at in (began, datetime.now(UTC)))
        assert least - 1 <= 60 * int(minutes) + int(seconds) <= most + 1
    finally:
        second.kill()
    assert load_case(path) == kept
