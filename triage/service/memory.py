"""What was read and planned a moment ago, used again only while nothing it rests on has changed.

A plan is a pure function of knowledge, case, bench, day and record; so the same five give the
same plan, and a screen that is come back to need not be worked out anew.
"""

from __future__ import annotations

import os
import time
from collections import OrderedDict
from pathlib import Path

from triage.case.models import Case
from triage.case.profile import Bench
from triage.case.store import load_case
from triage.exposure.day import DayLedger
from triage.history.evidence import Evidence
from triage.plan.model import Plan

# A file changed this shortly before it was read may change again within one tick of the file
# system's clock and look the same. 2 s is the coarsest clock in use (FAT).
TICK_NS = 2_000_000_000
MOST_CASES = 64
MOST_PLANS = 32


class ReadCases:
    """Cases by their files, read again when a file was written since."""

    def __init__(self) -> None:
        self._known: OrderedDict[str, tuple[tuple[int, int, int], Case]] = OrderedDict()

    def load(self, path: Path) -> Case:
        """Return the case in a file.

        Raises
        ------
        TriageError: anything wrong with the file.
        """
        name = str(path)
        try:
            status = os.stat(name)  # noqa: PTH116  (every file of the folder, for every plan)
        except OSError:
            return load_case(path)  # says what is wrong, in words
        stamp = (status.st_mtime_ns, status.st_size, status.st_ino)
        known = self._known.get(name)
        if known is not None and known[0] == stamp:
            return known[1]
        now_ns = time.time_ns()
        case = load_case(path)
        if status.st_mtime_ns < now_ns - TICK_NS:
            self._known[name] = (stamp, case)
            if len(self._known) > MOST_CASES:
                self._known.popitem(last=False)
        return case


class MadePlans:
    """The last plans, each with all that it was made from."""

    def __init__(self) -> None:
        self._made: list[tuple[Case, Bench, DayLedger, Evidence | None, Plan]] = []

    def find(
        self, case: Case, bench: Bench, day: DayLedger, evidence: Evidence | None
    ) -> Plan | None:
        """Return the plan made from exactly these, None if there is none."""
        for old_case, old_bench, old_day, old_evidence, plan in self._made:
            same = old_bench is bench and old_evidence is evidence and old_day == day
            if same and old_case == case:
                return plan
        return None

    def keep(
        self, case: Case, bench: Bench, day: DayLedger, evidence: Evidence | None, plan: Plan
    ) -> None:
        """Keep a plan with what it was made from."""
        self._made = [(case, bench, day, evidence, plan), *self._made[: MOST_PLANS - 1]]
