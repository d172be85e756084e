"""The workshop: cases on a folder and a bench, what is planned for them, and how it is opened."""

from __future__ import annotations

import contextlib
import gc
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from triage import places
from triage.case import changes
from triage.case.folder import CaseEntry, list_cases, unread_files
from triage.case.models import Case
from triage.case.naming import SUFFIX, is_case_name, is_reserved, one_line, shown_path
from triage.case.profile import BENCH_FILE, Bench, load_bench
from triage.case.roomledger import RoomLedger, room_ledger
from triage.case.store import create_case, load_case, make_folder, replace_text, update_case
from triage.engine.casefacts import TAXON
from triage.engine.consult import Consultant
from triage.engine.memory import spare_loaded
from triage.errors import TriageError, Where, did_you_mean
from triage.exposure.day import DayLedger
from triage.history.advice import with_evidence
from triage.history.index import FolderRecord, names_since
from triage.knowledge.load import load_knowledge
from triage.plan.ladder import check_bench
from triage.plan.model import Plan
from triage.plan.planner import Planner
from triage.plan.questions import with_told
from triage.plan.substances import day_ledger, earliest
from triage.service.listing import CaseLine, Clock, local_now, named_line, newest_first
from triage.service.observing import Observing
from triage.service.photographs import Photographs
from triage.service.takeback import Act
from triage.service.working import Working
from triage.yamltext import dump_yaml, locator

if TYPE_CHECKING:
    from triage.explain.desk import ExplainDesk

# An answer that is changed within this time corrects a slip of the finger: nothing was seen anew.
SLIP = timedelta(minutes=10)
DETAILS = 200
# One key press asks for the plan before an act, the plan after it, and for questions about both.
MOST_PLANS = 4


class Workshop:
    """The services of every face of the tool: cases and their plans, and the parts that act.

    Parameters
    ----------
    consultant the compiled rulebase
    cases      folder of the cases
    bench      the user's bench
    bench_path file of the bench, None if there is none yet
    clock      gives the present moment
    """

    def __init__(
        self,
        consultant: Consultant,
        cases: Path,
        bench: Bench,
        bench_path: Path | None = None,
        clock: Clock = local_now,
    ) -> None:
        self.consultant, self.knowledge = consultant, consultant.knowledge
        self.cases, self.clock = cases, clock
        self.bench, self.bench_path = bench, bench_path
        self.planner = Planner(consultant)
        self.folder_record = FolderRecord(cases, self.knowledge)
        self._acts: dict[Path, list[Act]] = {}
        self._made: list[tuple[tuple[object, ...], Plan]] = []
        photographs, observing, working = Photographs(self), Observing(self), Working(self)
        # What is seen.
        self.answer, self.answer_all = observing.answer, observing.answer_all
        self.see, self.accept = observing.see, observing.accept
        self.withdraw, self.declare_clean = observing.withdraw, observing.declare_clean
        self.declare_rest_clean = observing.declare_rest_clean
        # What is done.
        self.check_photo, self.keep_photo = photographs.check_photo, photographs.keep_photo
        self.newest_photo = photographs.newest_photo
        self.record, self.undo, self.take_back = working.record, working.undo, working.take_back
        self.release, self.skip, self.offer_again = (
            working.release, working.skip, working.offer_again
        )  # fmt: skip
        self.start_timer, self.extend_timer = working.start_timer, working.extend_timer
        self.stop_timer, self.follow = working.stop_timer, working.follow

    @cached_property
    def desk(self) -> ExplainDesk:
        """Return the desk that answers why, why not, what if and what to ask next."""
        from triage.explain.desk import ExplainDesk  # noqa: PLC0415  (only when it is asked)

        return ExplainDesk(self)

    def save_bench(self, bench: Bench) -> Bench:
        """Check and write the bench beside the cases, and use it from now on.

        Raises
        ------
        TriageError: the file there cannot be read as a bench, or the folder not be written to.
        """
        check_bench(self.knowledge, bench)
        make_folder(self.cases)
        path = self.bench_path or self.cases / BENCH_FILE
        if path.exists():
            load_bench(path)
        replace_text(path, dump_yaml(bench.plain()))
        self.bench, self.bench_path = bench, path
        return bench

    # -- the cases

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
        return load_case(self.path_of(case))

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

    def forget(self, path: Path, act: Act | None = None) -> None:
        """Forget an act of this session that was taken back, its newest record if none is named."""
        acts = self._acts.get(path, [])
        gone = act or next((each for each in reversed(acts) if each.is_recorded), None)
        if gone is not None:
            acts.remove(gone)

    def stamp(self, case: str | Path) -> tuple[int, int, int]:
        """Return what tells whether the file of a case was written since; zeros if it is gone."""
        try:
            status = self.path_of(case).stat()
        except (OSError, TriageError):
            return (0, 0, 0)
        return (status.st_mtime_ns, status.st_size, status.st_ino)

    # -- what is planned

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
                self.knowledge.require("taxon", answer)
            return changes.with_taxon(case, answer or "unknown")
        about = "specimen" if finding is None else "zone"
        known = {q.id: q for q in self.knowledge.questions.values() if q.about == about}
        if question not in known:
            raise TriageError(f'unknown question "{question}"', mend=did_you_mean(question, known))
        answers = [a.id for a in known[question].answers]
        if answer not in (None, "unknown", *answers):
            raise TriageError(
                f'"{answer}" does not answer {question}', mend=did_you_mean(str(answer), answers)
            )
        if finding is None:
            return with_told(self.knowledge, case, question, answer)
        return changes.with_sign(case, finding, question, answer)


@contextlib.contextmanager
def _no_collection() -> Iterator[None]:
    """Load without garbage collection: some 100,000 objects are made, and all of them stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
        spare_loaded()
    finally:
        if was_on:
            gc.enable()


def open_workshop(
    *,
    cases: Path | None = None,
    rules: Path | None = None,
    bench: Path | None = None,
    clock: Clock = local_now,
) -> Workshop:
    """Return a workshop on folders, with defaults for what is not given.

    Parameters
    ----------
    cases folder of cases; the user's own folder by default
    rules rules folder; the carried one by default
    bench bench file; ``bench.yaml`` beside the cases by default, else a bench that says nothing
    clock gives the present moment

    Raises
    ------
    TriageError: unsafe knowledge or a broken bench: the program refuses to plan.
    """
    with _no_collection():
        consultant = Consultant(load_knowledge(rules or places.rules_folder()))
    knowledge = consultant.knowledge
    folder = cases or places.cases_folder()
    beside = folder / BENCH_FILE
    path = bench or (beside if beside.is_file() else None)
    profile = load_bench(path) if path else Bench()
    if path:
        locate = locator(path)
        check_bench(knowledge, profile, lambda entry: Where(path.name, locate(entry).line))
    workshop = Workshop(consultant, folder, profile, path, clock)
    if rules is not None:
        # The carried rules are proven before they are released; a person's own copy is not.
        # The checks are imported only then, so that the usual start-up stays fast.
        from triage.check.whole import require_sound  # noqa: PLC0415

        require_sound(consultant)
    return workshop
