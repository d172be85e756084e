"""What the tests of the command line share."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.support.running import Runner, runner


@pytest.fixture
def triage(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> Runner:
    """Runs a command in this process, in a home of its own.

    To start Python and read the rules for each of a hundred commands would take a minute. The
    tests that call ``process`` hold that a true process does nothing else.
    """
    return runner(tmp_path, monkeypatch, capsys)
