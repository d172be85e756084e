"""Record an attempt into a case file, in one line, as the services do it."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from triage.case.changes import with_attempt
from triage.case.models import Attempt, Case
from triage.case.store import LOCK_TIMEOUT_S, update_case


def append_attempt(
    path: Path | str, make: Callable[[Case], Attempt], *, timeout_s: float = LOCK_TIMEOUT_S
) -> Case:
    """Record the attempt that ``make`` returns for the newest content of the file."""
    return update_case(path, lambda case: with_attempt(case, make(case)), timeout_s=timeout_s)
