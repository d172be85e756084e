"""Record an attempt into a case file, in one line, as the services do it; a file edited by hand."""

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from triage.case.changes import new_attempt, with_attempt
from triage.case.models import Attempt, Case
from triage.case.store import LOCK_TIMEOUT_S, update_case

NOW = datetime(2026, 3, 2, 10, 15, tzinfo=UTC)
BY_HAND = """\
# plate of pollinators
format: 1
id: card            # = file name
owner: {shelf: 3}   # a key of our own
title: Bumblebee worker
answers:
  hydration: dry    # looked twice
  # to be answered: smell
findings:
  - id: f1          # the worst
    zone: thorax-hairy
    signs: {sheen: wet}
  - id: f2
    zone: compound-eye
    signs:
      puff: stays   # by eye

# what was tried
attempts:
  - id: a1          # careful
    at: 2026-03-02T10:15:00+01:00
    step: s1
    finding: f1
    outcome: no-change
    amount_ml: 2    # by pipette
    lamp: {kind: ring}
    note: |
      two
      lines

# end remark
"""


def attempt_for(case: Case, **fields: object) -> Attempt:
    outcome = str(fields.pop("outcome", "better"))
    return new_attempt(case.next_attempt_id(), NOW, "s1", outcome, **fields)


def append_attempt(
    path: Path | str, make: Callable[[Case], Attempt], *, timeout_s: float = LOCK_TIMEOUT_S
) -> Case:
    """Record the attempt that ``make`` returns for the newest content of the file."""
    return update_case(path, lambda case: with_attempt(case, make(case)), timeout_s=timeout_s)
