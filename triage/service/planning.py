"""Plans of cases, on this bench and on top of the day; what is seen goes into a case."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import Any

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
from triage.looks import CLEAN, is_clean, unseen_zones
from triage.plan.day import day_ledger, earliest
from triage.plan.model import STANDING, Plan
from triage.plan.questions import with_told
from triage.service.listing import CaseLine, named_line, newest_first
from triage.service.shelf import Shelf, locator

DETAILS = 200
# One key press asks for the plan before an act, the plan after it, and for questions about both.
MOST_PLANS = 4


class Observing(Shelf):
    """What is planned for a case now or with another answer; acts of looking, each one write."""

    _made: tuple[tuple[tuple[object, ...], Plan], ...] = ()

    def list_cases(self, details: int = DETAILS) -> tuple[CaseLine, ...]:
        """Return all cases, held first, then the newest; ``details`` of them with their stage."""
        entries = newest_first(self.cases)
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
            case = self.load(entry.path)
            plan = self.planner.plan(case, self.bench, day)
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
        now = self.clock()
        cases, unread = self._recent(now)
        if self.room is not None:
            others, not_read = self.room.others(cases, earliest(now))
            cases, unread = [*cases, *others], [*unread, *not_read]
        return day_ledger(self.knowledge, cases, now, unread)

    @property
    def room(self) -> RoomLedger | None:
        """Return what those who share the room tell each other, None if it is not shared."""
        beside = self.bench_path.parent if self.bench_path else self.cases
        return room_ledger(self.bench.room, beside, self.cases)

    def tell_room(self) -> None:
        """Tell those who share the room what was recorded in the last 24 hours.

        Raises
        ------
        TriageError: it cannot be told; what was recorded stays recorded.
        """
        room = self.room
        if room is not None:
            now = self.clock()
            room.tell(self._recent(now)[0], earliest(now))

    def _recent(self, now: datetime) -> tuple[list[Case], list[str]]:
        """Return the cases of this folder that may hold attempts of the last 24 hours, and more.

        The second names what cannot be read.
        """
        index = self.folder_record.index()
        if index is None:
            return [], []
        unread = list(unread_files(self.cases))
        unread += [f"{shown_path(Path(name))} cannot be read" for name in sorted(index.broken)]
        cases = []
        for name in names_since(index, earliest(now).timestamp()):
            try:
                cases.append(self.load(self.cases / name))
            except TriageError:  # changed since; it must not stop other cases
                unread.append(f"{shown_path(Path(name))} cannot be read")
        return cases, unread

    def plan(self, case: Case) -> Plan:
        """Return the plan of a case on this bench, on top of the day, with its own record."""
        bench, day, evidence = self.bench, self.day(), self.folder_record.evidence()
        made_from = (case, bench, day, evidence)
        for known, plan in self._made:
            if known == made_from:
                return plan
        plan = self.planner.plan(
            case, bench, day, locate=locator(self.cases / f"{case.id}{SUFFIX}")
        )
        plan = with_evidence(plan, case.taxon, evidence)
        self._made = ((made_from, plan), *self._made[: MOST_PLANS - 1])
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
                self.knowledge.require("taxon", answer)
            return changes.with_taxon(case, answer or "unknown")
        self._check_answer(question, answer, "specimen" if finding is None else "zone")
        if finding is None:
            return with_told(self.knowledge, case, question, answer)
        return changes.with_sign(case, finding, question, answer)

    def _check_answer(self, question: str, answer: str | None, about: str) -> None:
        known = {q.id: q for q in self.knowledge.questions.values() if q.about == about}
        if question not in known:
            raise TriageError(f'unknown question "{question}"', mend=did_you_mean(question, known))
        answers = [a.id for a in known[question].answers]
        if answer not in (None, "unknown") and answer not in answers:
            raise TriageError(
                f'"{answer}" does not answer {question}', mend=did_you_mean(str(answer), answers)
            )

    def answer(self, case: str | Path, question: str, answer: str | None) -> Case:
        """Record an answer about the whole specimen; None or ``unknown`` takes it back."""
        return self.answer_all(case, None, {question: answer or "unknown"})

    def add_finding(self, case: str | Path, zone: str, side: str | None = None) -> tuple[Case, str]:
        """Add a finding in a zone; return the case and the id of the finding."""
        self.knowledge.require("zone", zone)

        def change(old: Case) -> Case:
            finding = changes.new_finding(old.next_finding_id(), zone, side=side)
            return changes.with_finding(old, finding)

        made = self.change(case, change)
        return made, made.findings[-1].id

    def sign(self, case: str | Path, finding: str, question: str, answer: str | None) -> Case:
        """Record a sign of a finding; None or ``unknown`` takes it back."""
        return self.answer_all(case, finding, {question: answer or "unknown"})

    def answer_all(self, case: str | Path, finding: str | None, answers: Mapping[str, str]) -> Case:
        """Record several answers in one write; a wrong one leaves the case as it was."""
        return self.change(case, lambda old: self._answered(case, old, finding, answers))

    def _answered(
        self, case: str | Path, old: Case, finding: str | None, answers: Mapping[str, str]
    ) -> Case:
        """Return the case with several answers; what was told otherwise before stays on file."""
        new = old
        for question, answer in answers.items():
            new = self.with_answer(new, finding, question, None if answer == "unknown" else answer)
        if finding is None:
            return new
        again = [
            q
            for q in answers
            if self.knowledge.questions[q].gives == "sign" and not self.just_told(case, finding, q)
        ]
        return changes.with_restated(old, new, self.clock(), finding, again)

    def see(
        self,
        case: str | Path,
        *,
        zone: str | None = None,
        finding: str | None = None,
        side: str | None = None,
        signs: Mapping[str, str],
        **more: Any,
    ) -> str:
        """Record signs of a finding, adding it first if a zone is given; return its id.

        ``more``: ``named`` and ``size_um`` [um], where they are told.
        """
        told = {name: held for name, held in more.items() if held is not None}
        if zone is not None:
            self.knowledge.require("zone", zone)
        if "named" in told:
            self.knowledge.require("deposit", told["named"])

        def change(old: Case) -> Case:
            name = finding or old.next_finding_id()
            if zone is not None:
                old = changes.with_finding(old, changes.new_finding(name, zone, side=side))
            if told:
                old = changes.with_changed(old, name, **told)
            return self._answered(case, old, name, signs)

        made = self.change(case, change)
        return finding or made.findings[-1].id

    def name_deposit(self, case: str | Path, finding: str, deposit: str | None) -> Case:
        """Record what a person takes a finding for; None takes it back."""
        if deposit is not None:
            self.knowledge.require("deposit", deposit)
        return self.change(case, lambda old: changes.with_changed(old, finding, named=deposit))

    def accept(self, case: str | Path, finding: str, reason: str) -> Case:
        """Accept a finding as it is, with the reason."""
        return self.change(case, lambda old: changes.with_accepted(old, finding, reason))

    def withdraw(self, case: str | Path, finding: str, reason: str) -> Case:
        """Withdraw a finding that was entered by mistake; it stays on file with the reason.

        Raises
        ------
        TriageError: no such finding, no reason, or something was recorded on it.
        """
        return self.change(
            case, lambda old: changes.without_finding(old, finding, self.clock(), reason)
        )

    def declare_clean(
        self, case: str | Path, zone: str, side: str | None = None
    ) -> tuple[Case, str]:
        """Record that a zone was looked at and is clean; return the case and the finding's id.

        It stands in the case as an accepted finding with that reason; a second time changes
        nothing.

        Raises
        ------
        TriageError: unknown zone, or something is still open there.
        """
        self.knowledge.require("zone", zone)
        found: list[str] = []

        def change(old: Case) -> Case:
            there = [f for f in old.findings if f.zone == zone and f.side in (side, None, "both")]
            known = next((f.id for f in there if is_clean(f) and f.side == side), None)
            if known is not None:
                found[:] = [known]
                return old
            self._refuse_open(old, {f.id for f in there})
            finding = changes.new_finding(old.next_finding_id(), zone, side=side)
            found[:] = [finding.id]
            return changes.with_accepted(changes.with_finding(old, finding), finding.id, CLEAN)

        return self.change(case, change), found[0]

    def declare_rest_clean(self, case: str | Path) -> Case:
        """Record of every zone where nothing was noted that it was looked at and is clean."""

        def change(old: Case) -> Case:
            for zone in unseen_zones(self.knowledge, old):
                finding = changes.new_finding(old.next_finding_id(), zone)
                old = changes.with_finding(old, finding)
                old = changes.with_accepted(old, finding.id, CLEAN)
            return old

        return self.change(case, change)

    def _refuse_open(self, case: Case, findings: set[str]) -> None:
        for line in self.plan(case).findings if findings else ():
            if line.id in findings and line.state in STANDING:
                raise TriageError(
                    f"{line.zone_name} is not clean: {line.id} is there, {line.deposit_name}",
                    mend="clear it, or leave it as it is with a reason",
                )
