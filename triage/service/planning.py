"""Plans of cases: on this bench, on top of the day that all share the room with, by the record."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

from triage.case import changes
from triage.case.folder import CaseEntry, unread_files
from triage.case.models import Case
from triage.case.naming import SUFFIX, one_line, shown_path
from triage.case.roomledger import RoomLedger, room_ledger
from triage.engine.casefacts import TAXON
from triage.errors import TriageError, did_you_mean
from triage.exposure.day import DayLedger
from triage.history.advice import with_evidence
from triage.history.index import names_since
from triage.plan.model import Plan
from triage.plan.questions import with_told
from triage.plan.substances import day_ledger, earliest
from triage.service.listing import CaseLine, named_line, newest_first
from triage.service.shelf import locator

if TYPE_CHECKING:
    from triage.service.workshop import Workshop

DETAILS = 200
# One key press asks for the plan before an act, the plan after it, and for questions about both.
MOST_PLANS = 4


class Planning:
    """What is planned for a case now, and what it would be with another answer."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop
        self._made: list[tuple[tuple[object, ...], Plan]] = []

    def list_cases(self, details: int = DETAILS) -> tuple[CaseLine, ...]:
        """Return all cases, held first, then the newest; ``details`` of them with their stage."""
        entries = newest_first(self.shop.cases)
        day = self.day() if entries else DayLedger()
        lines = [
            self._line(entry, day) if place < details else named_line(entry)
            for place, entry in enumerate(entries)
        ]
        return tuple(sorted(lines, key=lambda line: not line.held))

    def _line(self, entry: CaseEntry, day: DayLedger) -> CaseLine:
        line = replace(named_line(entry), is_planned=True)
        if line.fault:
            return line
        try:
            case = self.shop.load(entry.path)
            plan = self.shop.planner.plan(case, self.shop.bench, day)
        except TriageError as error:
            return replace(line, fault=error.line().splitlines()[0])
        step = plan.next_step()
        running = one_line(case.timers[0].label) if case.timers else ""
        held, name = bool(plan.held), step.name if step else ""
        return replace(line, stage=plan.stage, next_step=name, held=held, running=running)

    def day(self) -> DayLedger:
        """Return what the attempts of the last 24 hours on all cases released.

        What is read tells which cases count, not the times of the files: those are another
        machine's on a shared disk. What cannot be read may be of the last hours.
        """
        now = self.shop.clock()
        cases, unread = self._recent(now)
        if self.room is not None:
            others, not_read = self.room.others(cases, earliest(now))
            cases, unread = [*cases, *others], [*unread, *not_read]
        return day_ledger(self.shop.knowledge, cases, now, unread)

    @property
    def room(self) -> RoomLedger | None:
        """Return what those who share the room tell each other, None if it is not shared."""
        beside = self.shop.bench_path.parent if self.shop.bench_path else self.shop.cases
        return room_ledger(self.shop.bench.room, beside, self.shop.cases)

    def tell_room(self) -> None:
        """Tell those who share the room what was recorded in the last 24 hours.

        Raises
        ------
        TriageError: it cannot be told; what was recorded stays recorded.
        """
        room = self.room
        if room is not None:
            now = self.shop.clock()
            room.tell(self._recent(now)[0], earliest(now))

    def _recent(self, now: datetime) -> tuple[list[Case], list[str]]:
        """Return the cases of this folder that may hold attempts of the last 24 hours, and more.

        The second names what cannot be read.
        """
        index = self.shop.folder_record.index()
        if index is None:
            return [], []
        unread = list(unread_files(self.shop.cases))
        unread += [f"{shown_path(Path(name))} cannot be read" for name in sorted(index.broken)]
        cases = []
        for name in names_since(index, earliest(now).timestamp()):
            try:
                cases.append(self.shop.load(self.shop.cases / name))
            except TriageError:  # changed since; it must not stop other cases
                unread.append(f"{shown_path(Path(name))} cannot be read")
        return cases, unread

    def plan(self, case: Case) -> Plan:
        """Return the plan of a case on this bench, on top of the day, with its own record."""
        bench, day, evidence = self.shop.bench, self.day(), self.shop.folder_record.evidence()
        made_from = (case, bench, day, evidence)
        for known, plan in self._made:
            if known == made_from:
                return plan
        plan = self.shop.planner.plan(
            case, bench, day, locate=locator(self.shop.cases / f"{case.id}{SUFFIX}")
        )
        plan = with_evidence(plan, case.taxon, evidence)
        self._made = [(made_from, plan), *self._made[: MOST_PLANS - 1]]
        return plan

    def with_answer(
        self, case: Case, finding: str | None, question: str, answer: str | None
    ) -> Case:
        """Return the case with an answer, without recording it; None takes one back.

        Raises
        ------
        TriageError: unknown question, answer, taxon group or finding.
        """
        if question == TAXON:
            if answer is not None:
                self.shop.knowledge.require("taxon", answer)
            return changes.with_taxon(case, answer or "unknown")
        self._check_answer(question, answer, "specimen" if finding is None else "zone")
        if finding is None:
            return with_told(self.shop.knowledge, case, question, answer)
        return changes.with_sign(case, finding, question, answer)

    def _check_answer(self, question: str, answer: str | None, about: str) -> None:
        known = {q.id: q for q in self.shop.knowledge.questions.values() if q.about == about}
        if question not in known:
            raise TriageError(f'unknown question "{question}"', mend=did_you_mean(question, known))
        answers = [a.id for a in known[question].answers]
        if answer not in (None, "unknown") and answer not in answers:
            raise TriageError(
                f'"{answer}" does not answer {question}', mend=did_you_mean(str(answer), answers)
            )
