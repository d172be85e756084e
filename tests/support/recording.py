"""Attempts recorded in one line, as the services do it; running chambers; a file edited by hand."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path

from tests.support.builders import OILY
from tests.support.intake import TOLD
from tests.support.knowledge import NOON
from triage.case.changes import new_attempt, new_case, with_attempt, with_timer
from triage.case.models import Attempt, Case, Timer
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


def greasy(case_id="bee", **answers):
    findings = [{"id": "f1", "zone": "thorax-hairy", "signs": OILY}]
    told = {**TOLD, **answers}
    return new_case(case_id, "Bee", taxon="bees-wasps", answers=told, findings=findings)


def tried(case, *outcomes, method="blot-dry", at=NOON - timedelta(days=2), **more):
    told = {"zone": "thorax-hairy", "deposit": "grease", "finding": "f1", "method": method, **more}
    for outcome in outcomes:
        number = case.next_attempt_id()
        begun = at + timedelta(minutes=int(number[1:]))
        case = with_attempt(case, new_attempt(number, begun, f"f1-{method}", outcome, **told))
    return case


def in_chamber(method, hours_ago, hours):
    started = NOON - timedelta(hours=hours_ago)
    ends = started + timedelta(hours=hours)
    timer = Timer(step=f"case-brittle-{method}", started=started, ends=ends)
    return with_timer(greasy("dry", hydration="dry"), timer)
