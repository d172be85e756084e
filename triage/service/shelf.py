"""Cases on the shelf: list, load, begin, and plan them; nothing recorded is changed here."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from triage.case import changes
from triage.case.folder import CaseEntry, list_cases, unread_files
from triage.case.models import Case
from triage.case.naming import SUFFIX, is_case_name, is_reserved, one_line, shown_path
from triage.case.profile import Bench
from triage.case.roomledger import RoomLedger, room_ledger
from triage.case.store import create_case, make_folder, update_case
from triage.engine.casefacts import TAXON
from triage.engine.consult import Consultant
from triage.engine.normal import NormalRules
from triage.errors import TriageError, Where, did_you_mean
from triage.exposure.day import DayLedger
from triage.history.advice import with_evidence
from triage.history.index import names_since
from triage.history.record import FolderRecord
from triage.knowledge.book import Knowledge
from triage.plan.day import day_ledger, earliest
from triage.plan.model import Plan
from triage.plan.planner import Planner
from triage.plan.questions import with_told
from triage.service.listing import CaseLine, Clock, local_now, named_line, newest_first
from triage.service.memory import ReadCases
from triage.service.takeback import Act
from triage.yamltext import parse_yaml, read_text

if TYPE_CHECKING:
    from triage.explain.desk import ExplainDesk

DETAILS = 200
# One key press asks for the plan before an act, the plan after it, and for questions about both.
MOST_PLANS = 4
# An answer that is changed within this time corrects a slip of the finger: nothing was seen anew.
SLIP = timedelta(minutes=10)


def locator(path: Path) -> Callable[[tuple[str | int, ...]], Where]:
    """Return a function that gives the line of an entry of a case file, read only when asked."""

    def locate(entry: tuple[str | int, ...]) -> Where:
        label = " ".join(str(step) for step in entry)
        try:
            line = parse_yaml(read_text(path, path.name), path.name).line_of(entry)
        except TriageError:
            return Where(path.name, None, label)
        return Where(path.name, line, label)

    return locate


class Shelf:
    """The cases of a folder, planned on a bench with one rulebase; nothing is changed here.

    Parameters
    ----------
    knowledge  the rulebase
    cases      folder of the cases
    bench      the user's bench
    bench_path file of the bench, None if there is none yet
    clock      gives the present moment
    normal     the rules in normal form, if they were kept; made from the knowledge otherwise
    """

    def __init__(
        self,
        knowledge: Knowledge,
        cases: Path,
        bench: Bench,
        bench_path: Path | None = None,
        clock: Clock = local_now,
        normal: NormalRules | None = None,
    ) -> None:
        self.knowledge = knowledge
        self.cases = cases
        self.bench = bench
        self.bench_path = bench_path
        self.clock = clock
        self.consultant = Consultant(knowledge, normal)
        self.planner = Planner(self.consultant)
        self.folder_record = FolderRecord(cases, knowledge)
        self._read = ReadCases()
        self._made: list[tuple[tuple[object, ...], Plan]] = []
        self._acts: dict[Path, list[Act]] = {}

    def change(self, case: str | Path, change: Callable[[Case], Case]) -> Case:
        """Change the newest case through the store, and remember the act until the program ends."""
        path = self.path_of(case)
        acts: list[Act] = []

        def noted(old: Case) -> Case:
            new = change(old)
            acts[:] = [Act(old, new, self.clock())]
            return new

        made = update_case(path, noted)
        self._acts.setdefault(path, []).extend(act for act in acts if act.can_be_taken_back)
        return made

    def just_told(self, case: str | Path, finding: str, question: str) -> bool:
        """Return whether a question was answered so lately that another answer corrects a slip."""
        acts = self._acts.get(self.path_of(case), ())
        return any(
            act.told(finding, question) and self.clock() - act.at <= SLIP for act in reversed(acts)
        )

    def last_act(self, case: str | Path) -> Act | None:
        """Return the last act on a case in this session that was not taken back."""
        acts = self._acts.get(self.path_of(case))
        return acts[-1] if acts else None

    def entries(self) -> tuple[CaseEntry, ...]:
        """Return the quick list of cases, without stage or next step."""
        return list_cases(self.cases) if self.cases.is_dir() else ()

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
            case = self._read.load(entry.path)
            plan = self.planner.plan(case, self.bench, day)
        except TriageError as error:
            return replace(line, fault=error.line().splitlines()[0])
        step = plan.next_step()
        running = one_line(case.timers[0].label) if case.timers else ""
        held, name = bool(plan.held), step.name if step else ""
        return replace(line, stage=plan.stage, next_step=name, held=held, running=running)

    def path_of(self, case: str | Path) -> Path:
        """Return the file of a case given by id or by path.

        Raises
        ------
        TriageError: no such case; the mend names the nearest id.
        """
        given = Path(case)
        if given.is_file() or isinstance(case, Path) or given.suffix == SUFFIX:
            return given
        path = self.cases / f"{case}{SUFFIX}"
        if path.is_file() and is_case_name(path.name):
            return path
        known = [entry.id for entry in self.entries()]
        if not known:
            raise TriageError(
                f'no case "{case}": there are none in {self.cases} yet',
                mend='begin one with: triage new "what is on the bench", or try triage --demo',
            )
        raise TriageError(f'no case "{case}" in {self.cases}', mend=did_you_mean(str(case), known))

    def load(self, case: str | Path) -> Case:
        """Return a case from its file."""
        return self._read.load(self.path_of(case))

    def new(self, title: str, taxon: str = "unknown", case_id: str | None = None) -> Case:
        """Create a case and return it; the id is made from the title if none is given."""
        if taxon != "unknown":
            self.knowledge.require("taxon", taxon)
        make_folder(self.cases)
        name = case_id or self._free_id(title)
        case = changes.new_case(name, title, taxon=taxon)
        create_case(self.cases, case)
        return case

    def _free_id(self, title: str) -> str:
        stem = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:48].strip("-") or "case"
        taken = {entry.id for entry in self.entries()}
        number = 2
        name = stem
        while name in taken or is_reserved(name) or not is_case_name(f"{name}{SUFFIX}"):
            name = f"{stem}-{number}"
            number += 1
        return name

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
                cases.append(self._read.load(self.cases / name))
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
        plan = self.planner.plan(case, bench, day, locate=self._locator(case))
        if evidence is not None:
            plan = with_evidence(plan, case.taxon, evidence)
        self._made = [(made_from, plan), *self._made[: MOST_PLANS - 1]]
        return plan

    def _locator(self, case: Case) -> Callable[[tuple[str | int, ...]], Where]:
        path = self.cases / f"{case.id}{SUFFIX}"
        return locator(path)

    @cached_property
    def desk(self) -> ExplainDesk:
        """Return the desk that answers why, why not, what if and what to ask next."""
        from triage.explain.desk import ExplainDesk  # noqa: PLC0415  (only when it is asked)

        return ExplainDesk(self)

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
