"""The proofs as commands: bad options, an interrupt, and what the short ones print."""

from __future__ import annotations

import io
import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest

from tests.proof.__main__ import main
from tests.proof.cores import interrupts_held
from tests.support import sweeping
from triage.commands.common import BAR, progress_bar
from triage.errors import TriageError

BAD = {
    "jobs of nothing": ["sweep", "--jobs", "0"],
    "jobs in words": ["mutations", "--jobs", "two"],
    "fewer than none": ["faults", "--count", "-3"],
    "a part of one": ["mutations", "--each", "0.5"],
    "no such option": ["coverage", "--nope"],
    "no such proof": ["everything"],
    "no such rules": ["coverage", "--rules", "no-such-folder"],
}


@pytest.mark.parametrize("words", BAD.values(), ids=BAD)
def test_a_bad_option_is_one_line_and_exit_2(words, capsys):
    assert main(words) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert len(err.strip().splitlines()) == 1


@pytest.fixture
def _counted_before(monkeypatch):
    """The cases are counted once; test_coverage looks at what comes of it."""
    monkeypatch.setattr("tests.proof.coverage.coverage_of", lambda _: sweeping.reached())
    monkeypatch.setattr("tests.proof.needed.needed_of", lambda _: sweeping.needed())


@pytest.mark.usefixtures("_counted_before")
def test_coverage_is_printed_as_whole_numbers(capsys):
    assert main(["coverage"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert sum("(100 %)" in line for line in lines) == 3
    assert not any("no case" in line for line in lines)


def _children(pid: int) -> list[str]:
    """Return the processes that a process has begun."""
    return Path(f"/proc/{pid}/task/{pid}/children").read_text(encoding="ascii").split()


PROOFS = ("-m", "tests.proof")
# The same, without the long reckoning before the first worker.
AT_ONCE = (
    "-c",
    """if True:
    import sys
    from types import SimpleNamespace as Some
    from tests.proof import mutations, sweep
    from tests.proof.__main__ import main
    sweep.axes_of = lambda _: Some(deposits=("mud", "mould", "pollen"))
    mutations.Judge = lambda _: Some(verdict=lambda _: Some(check=""))
    sys.exit(main())""",
)


@pytest.mark.skipif(not Path("/proc/self/task").exists(), reason="needs /proc")
@pytest.mark.parametrize(
    ("program", "what"), [(AT_ONCE, "sweep"), (PROOFS, "faults"), (AT_ONCE, "mutations")]
)
def test_an_interrupt_ends_it_cleanly(program, what):
    """The interrupt key reaches all processes of a terminal; one line, no traceback, none left.

    It is pressed as soon as the first worker begins, when it was lost once.
    """
    started = subprocess.Popen(
        [sys.executable, *program, what, "--jobs", "1"],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        start_new_session=True,
        text=True,
        # A suite that runs in the background hands down an ignored interrupt.
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # noqa: PLW1509
    )
    while started.poll() is None and not _children(started.pid):
        time.sleep(0.01)
    os.killpg(started.pid, signal.SIGINT)
    out, err = started.communicate(timeout=300)
    assert started.returncode == 130, err
    assert err.strip().splitlines()[-1] == "stopped"
    assert "Traceback" not in out + err


def test_an_interrupt_while_the_workers_are_begun_is_not_lost():
    """It was: the key was ignored, not held back, and the work went on."""
    begun = []

    def begin() -> None:
        with interrupts_held():
            os.kill(os.getpid(), signal.SIGINT)
            begun.append("worker")

    with pytest.raises(KeyboardInterrupt):
        begin()
    assert begun == ["worker"]


class Screen(io.StringIO):
    """A standard error that is a terminal."""

    def isatty(self) -> bool:
        return True


@pytest.mark.parametrize(
    ("ends", "code", "said"),
    [
        (KeyboardInterrupt(), 130, "stopped"),
        (TriageError("the rules changed", mend="start again"), 2, "the rules changed; start again"),
    ],
)
def test_what_ends_a_bar_early_is_said_on_a_line_of_its_own(ends, code, said, monkeypatch):
    """It used to stand behind the bar: ``2/200stopped``."""

    def sweep_all(_rules, _jobs, progress):
        progress(1, 200)
        progress(2, 200)
        raise ends

    monkeypatch.setattr("tests.proof.sweep.sweep_all", sweep_all)
    monkeypatch.setattr("sys.stderr", screen := Screen())
    assert main(["sweep"]) == code
    bar, last = screen.getvalue().splitlines()[-2:]
    assert bar.endswith("] 2/200")
    assert last == said


def test_a_bar_that_ran_to_its_end_leaves_one_line(monkeypatch, capsys):
    monkeypatch.setattr("sys.stderr", screen := Screen())
    with progress_bar("count") as progress:
        for done in range(1, 4):
            progress(done, 3)
    assert screen.getvalue().count("\n") == 1
    assert screen.getvalue().endswith("[" + "#" * BAR + "] 3/3\n")
    monkeypatch.undo()
    with progress_bar("count") as progress:
        assert progress is None
    assert capsys.readouterr() == ("", "")
