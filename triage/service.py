"""What every face of the tool (command line, interface, plain session) calls.

A workshop holds the knowledge, the folder of cases and the bench. Each method is one act of the
user: it reads the newest case, changes it through the store, and returns the new value.
"""

from __future__ import annotations

import contextlib
import gc
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cached_property
from pathlib import Path
from typing import Any

from triage import places
from triage.case import changes
from triage.case.folder import CaseEntry, is_case_name, list_cases, photo_path
from triage.case.models import OUTCOMES, Attempt, Case, Timer
from triage.case.profile import BENCH_FILE, Bench, load_bench
from triage.case.reading import validated
from triage.case.store import SUFFIX, create_case, load_case, update_case
from triage.engine.consult import Consultant
from triage.errors import TriageError, Where, did_you_mean
from triage.explain.desk import ExplainDesk
from triage.exposure.day import DayLedger
from triage.history.advice import with_evidence
from triage.history.record import FolderRecord
from triage.knowledge.book import Knowledge
from triage.knowledge.load import load_knowledge
from triage.looks import CLEAN, is_clean, put_off
from triage.plan.barring import check_bench
from triage.plan.day import day_ledger
from triage.plan.model import Plan, Step
from triage.plan.outcomes import SKIP
from triage.plan.planner import Planner, answers_after
from triage.yamltext import parse_yaml, read_text

Clock = Callable[[], datetime]
DAY_S = 86_400
DETAILS = 200


def local_now() -> datetime:
    """Return the present moment with the local time zone."""
    return datetime.now().astimezone()


@dataclass(frozen=True)
class CaseLine:
    """One case as the list shows it; ``fault`` is set for a file that is not a case."""

    id: str
    title: str
    path: Path
    stage: str
    next_step: str
    held: bool
    running: str
    fault: str


class Workshop:
    """The services of every face of the tool.

    Parameters
    ----------
    knowledge  the rulebase
    cases      folder of the cases
    bench      the user's bench
    bench_path file of the bench, None if there is none yet
    clock      gives the present moment
    """

    def __init__(
        self,
        knowledge: Knowledge,
        cases: Path,
        bench: Bench,
        bench_path: Path | None = None,
        clock: Clock = local_now,
    ) -> None:
        self.knowledge = knowledge
        self.cases = cases
        self.bench = bench
        self.bench_path = bench_path
        self.clock = clock
        self.consultant = Consultant(knowledge)
        self.planner = Planner(self.consultant)
        self.folder_record = FolderRecord(cases, knowledge)

    # -- cases ------------------------------------------------------------------------------

    def entries(self) -> tuple[CaseEntry, ...]:
        """Return the quick list of cases, without stage or next step."""
        return list_cases(self.cases) if self.cases.is_dir() else ()

    def list_cases(self, details: int = DETAILS) -> tuple[CaseLine, ...]:
        """Return all cases, held first, then the newest; ``details`` of them with their stage."""
        entries = sorted(self.entries(), key=lambda e: (-e.mtime_ns, e.id))
        day = self.day() if entries else DayLedger()
        lines = [
            self._line(entry, day)
            if place < details
            else CaseLine(entry.id, entry.title, entry.path, "", "", False, "", entry.error)
            for place, entry in enumerate(entries)
        ]
        return tuple(sorted(lines, key=lambda line: not line.held))

    def _line(self, entry: CaseEntry, day: DayLedger) -> CaseLine:
        fault, stage, step, held, running = entry.error, "", "", False, ""
        if not fault:
            try:
                case = load_case(entry.path)
                plan = self.planner.plan(case, self.bench, day)
                stage, held = plan.stage, bool(plan.held)
                following = plan.next_step()
                step = following.name if following else ""
                running = case.timers[0].label if case.timers else ""
            except TriageError as error:
                fault = error.line().splitlines()[0]
        return CaseLine(entry.id, entry.title, entry.path, stage, step, held, running, fault)

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
        self.cases.mkdir(parents=True, exist_ok=True)
        name = case_id or self._free_id(title)
        case = changes.new_case(name, title, taxon=taxon)
        create_case(self.cases, case)
        return case

    def _free_id(self, title: str) -> str:
        stem = re.sub(r"[^a-z0-9]+", "-", title.lower()).strip("-")[:48].strip("-") or "case"
        taken = {entry.id for entry in self.entries()}
        number = 2
        name = stem
        while name in taken or not is_case_name(f"{name}{SUFFIX}"):
            name = f"{stem}-{number}"
            number += 1
        return name

    # -- planning ---------------------------------------------------------------------------

    def day(self) -> DayLedger:
        """Return what today's attempts on all cases released, for the air of the next step."""
        now = self.clock()
        since = (now - timedelta(seconds=2 * DAY_S)).timestamp() * 1e9
        recent = [e for e in self.entries() if e.mtime_ns >= since and not e.error]
        cases = []
        for entry in recent:
            try:
                cases.append(load_case(entry.path))
            except TriageError:
                continue  # a broken file is shown in the list; it must not stop other cases
        return day_ledger(self.knowledge, cases, now)

    def plan(self, case: Case) -> Plan:
        """Return the plan of a case on this bench, on top of the day, with its own record."""
        plan = self.planner.plan(case, self.bench, self.day(), locate=self._locator(case))
        evidence = self.folder_record.evidence()
        return plan if evidence is None else with_evidence(plan, case.taxon, evidence)

    def plan_if(self, case: Case, *, finding: str | None, question: str, answer: str) -> Plan:
        """Return the plan that an answer would give, without recording it."""
        return self.plan(self.with_answer(case, finding, question, answer))

    def _locator(self, case: Case) -> Callable[[tuple[str | int, ...]], Where]:
        path = self.cases / f"{case.id}{SUFFIX}"
        return locator(path)

    @cached_property
    def desk(self) -> ExplainDesk:
        """Return the desk that answers why, why not, what if and what to ask next."""
        return ExplainDesk(self)

    def with_answer(
        self, case: Case, finding: str | None, question: str, answer: str | None
    ) -> Case:
        """Return the case with an answer, without recording it; None takes one back.

        Raises
        ------
        TriageError: unknown question, answer, taxon group or finding.
        """
        if question == "taxon":
            if answer is not None:
                self.knowledge.require("taxon", answer)
            return changes.with_taxon(case, answer or "unknown")
        self._check_answer(question, answer, "specimen" if finding is None else "zone")
        if finding is None:
            return changes.with_answer(case, question, answer)
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

    # -- observing --------------------------------------------------------------------------

    def answer(self, case: str | Path, question: str, answer: str | None) -> Case:
        """Record an answer about the whole specimen; None or ``unknown`` takes it back."""
        value = None if answer == "unknown" else answer
        return update_case(
            self.path_of(case), lambda old: self.with_answer(old, None, question, value)
        )

    def add_finding(self, case: str | Path, zone: str, side: str | None = None) -> tuple[Case, str]:
        """Add a finding in a zone; return the case and the id of the finding."""
        self.knowledge.require("zone", zone)
        added: list[str] = []

        def change(old: Case) -> Case:
            finding = changes.new_finding(old.next_finding_id(), zone, side=side)
            added[:] = [finding.id]
            return changes.with_finding(old, finding)

        return update_case(self.path_of(case), change), added[0]

    def sign(self, case: str | Path, finding: str, question: str, answer: str | None) -> Case:
        """Record a sign of a finding; None or ``unknown`` takes it back."""
        value = None if answer == "unknown" else answer
        return update_case(
            self.path_of(case), lambda old: self.with_answer(old, finding, question, value)
        )

    def answer_all(self, case: str | Path, finding: str | None, answers: Mapping[str, str]) -> Case:
        """Record several answers in one write; a wrong one leaves the case as it was."""

        def change(old: Case) -> Case:
            for question, answer in answers.items():
                old = self.with_answer(
                    old, finding, question, None if answer == "unknown" else answer
                )
            return old

        return update_case(self.path_of(case), change)

    def see(
        self,
        case: str | Path,
        *,
        zone: str | None = None,
        finding: str | None = None,
        side: str | None = None,
        named: str | None = None,
        signs: Mapping[str, str],
    ) -> str:
        """Record signs of a finding, adding it first if a zone is given; return its id."""
        if zone is not None:
            self.knowledge.require("zone", zone)
        if named is not None:
            self.knowledge.require("deposit", named)
        whose: list[str] = []

        def change(old: Case) -> Case:
            name = finding or old.next_finding_id()
            if zone is not None:
                old = changes.with_finding(old, changes.new_finding(name, zone, side=side))
            if named is not None:
                old = changes.with_named(old, name, named)
            for question, answer in signs.items():
                old = self.with_answer(old, name, question, None if answer == "unknown" else answer)
            whose[:] = [name]
            return old

        update_case(self.path_of(case), change)
        return whose[0]

    def name_deposit(self, case: str | Path, finding: str, deposit: str | None) -> Case:
        """Record what a person takes a finding for; None takes it back."""
        if deposit is not None:
            self.knowledge.require("deposit", deposit)
        return update_case(
            self.path_of(case), lambda old: changes.with_named(old, finding, deposit)
        )

    def accept(self, case: str | Path, finding: str, reason: str) -> Case:
        """Accept a finding as it is, with the reason."""
        return update_case(
            self.path_of(case), lambda old: changes.with_accepted(old, finding, reason)
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

        return update_case(self.path_of(case), change), found[0]

    def _refuse_open(self, case: Case, findings: set[str]) -> None:
        for line in self.plan(case).findings if findings else ():
            if line.id in findings and line.state in ("open", "unsettled", "stopped"):
                raise TriageError(
                    f"{line.zone_name} is not clean: {line.id} is there, {line.deposit_name}",
                    mend="clear it, or leave it as it is with a reason",
                )

    # -- working ----------------------------------------------------------------------------

    def check_photo(self, case: str | Path, photo: str) -> Path:
        """Return where a photo named by its path beside the case stands.

        Raises
        ------
        TriageError: it is not there, or outside the folder of the case.
        """
        place = photo_path(self.path_of(case), photo)
        if not place.is_file():
            raise TriageError(f'no photo "{photo}" beside the case', mend="check the path")
        return place

    def record(
        self,
        case: str | Path,
        step: str,
        outcome: str,
        *,
        amount_ml: float | None = None,
        minutes: float | None = None,
        note: str = "",
        observed: str = "",
        photo_before: str | None = None,
        photo_after: str | None = None,
    ) -> Case:
        """Record one attempt on a step of the newest plan and return the case.

        An amount that is not given is taken from the plan, so that the day's air never counts
        too little.

        Raises
        ------
        TriageError: unknown step or outcome, a number that is not one, a photo that is not there,
        or a hazardous step without the observation it asks for.
        """
        if outcome not in OUTCOMES:
            raise TriageError(f'unknown outcome "{outcome}"', mend=did_you_mean(outcome, OUTCOMES))
        path = self.path_of(case)
        for photo in (photo_before, photo_after):
            if photo is not None:
                self.check_photo(path, photo)
        given: dict[str, Any] = {
            "amount_ml": amount_ml,
            "minutes": minutes,
            "note": note,
            "observed": observed,
            "photo_before": photo_before,
            "photo_after": photo_after,
        }
        return update_case(path, lambda old: self._recorded(old, step, outcome, given))

    def _recorded(self, old: Case, step_id: str, outcome: str, given: dict[str, Any]) -> Case:
        step = self._step(old, step_id)
        if step.hold and outcome != "not-done" and not given["observed"].strip():
            raise TriageError(
                f'step "{step_id}" is a hold point: {step.hold}',
                mend="look, and say what was seen (--observed on the command line)",
            )
        amount = given.pop("amount_ml")
        if amount is None and outcome != "not-done":
            amount = step.amount_ml
        attempt = validated(
            Attempt,
            {
                "id": old.next_attempt_id(),
                "at": self.clock(),
                "step": step_id,
                "finding": step.finding,
                "zone": step.zone,
                "deposit": step.deposit,
                "method": step.method,
                "agent": step.agent,
                "outcome": outcome,
                "amount_ml": amount,
                "knowledge": self.knowledge.digest,
                **given,
            },
        )
        new = changes.with_attempt(changes.without_timer(old, step_id), attempt)
        condition = step.deposit if step.finding is None else None
        for question, answer in answers_after(self.knowledge, condition, outcome).items():
            new = changes.with_answer(new, question, answer)
        return new

    def _step(self, case: Case, step_id: str) -> Step:
        plan = self.plan(case)
        step = plan.step(step_id)
        if step is None:
            known = [s.id for s in plan.steps]
            if plan.held:
                raise TriageError(
                    f'case "{case.id}" is held by attempt {plan.held[0].attempt}',
                    mend="release it with a reason first",
                )
            raise TriageError(f'no step "{step_id}" in the plan', mend=did_you_mean(step_id, known))
        return step

    def undo(self, case: str | Path, reason: str) -> Case:
        """Take the last attempt back by an appended correction, with the reason as its note."""

        def change(old: Case) -> Case:
            counted = [a for a in old.effective_attempts() if a.outcome != "not-done"]
            if not counted:
                raise TriageError(
                    f'case "{old.id}" has no attempt to undo', mend="record one first"
                )
            last = max(counted, key=lambda a: int(a.id[1:]))
            return changes.with_correction(
                old,
                last.id,
                self.clock(),
                outcome="not-done",
                note=reason,
                amount_ml=last.amount_ml,
            )

        return update_case(self.path_of(case), change)

    def release(self, case: str | Path, attempt: str, reason: str) -> Case:
        """Release a hold with a person's written reason."""
        return update_case(
            self.path_of(case),
            lambda old: changes.with_release(old, self.clock(), attempt, reason),
        )

    def skip(self, case: str | Path, finding: str | None, method: str, reason: str) -> Case:
        """Record that a person skips a method, with the reason; never lifts an interlock."""
        self.knowledge.require("method", method)
        if not reason.strip():
            raise TriageError("skipping a step needs a reason", mend="say why")
        return update_case(
            self.path_of(case),
            lambda old: changes.with_override(
                old, self.clock(), SKIP, finding=finding, method=method, reason=reason
            ),
        )

    def start_timer(self, case: str | Path, step: str, seconds: float, label: str) -> Case:
        """Start a dwell timer; its end stands in the case, so it survives the program."""
        start = self.clock()
        timer = validated(
            Timer,
            {
                "step": step,
                "started": start,
                "ends": start + timedelta(seconds=seconds),
                "label": label,
            },
        )
        return update_case(self.path_of(case), lambda old: changes.with_timer(old, timer))

    def extend_timer(self, case: str | Path, step: str) -> Case:
        """Put a look off by a quarter of its time, counted from now where it is over already.

        Raises
        ------
        TriageError: no timer runs, or its time is a limit: vapour, a hazard, or the longest time
        the step allows.
        """

        def change(old: Case) -> Case:
            timer = next((each for each in old.timers if each.step == step), None)
            if timer is None:
                raise TriageError("no timer runs for this step", mend="start it first")
            ends = put_off(self._step(old, step), timer, self.clock())
            return changes.with_timer(old, validated(Timer, {**dict(timer), "ends": ends}))

        return update_case(self.path_of(case), change)

    def stamp(self, case: str | Path) -> tuple[int, int, int]:
        """Return what tells whether the file of a case was written since; zeros if it is gone."""
        try:
            status = self.path_of(case).stat()
        except (OSError, TriageError):
            return (0, 0, 0)
        return (status.st_mtime_ns, status.st_size, status.st_ino)

    def stop_timer(self, case: str | Path, step: str) -> Case:
        """Take a timer out of the case."""
        return update_case(self.path_of(case), lambda old: changes.without_timer(old, step))

    # -- bench ------------------------------------------------------------------------------

    def save_bench(self, bench: Bench) -> Bench:
        """Check and write the bench beside the cases, and use it from now on."""
        from triage.case.benchstore import write_bench  # noqa: PLC0415  (only this act writes one)

        check_bench(self.knowledge, bench)
        self.cases.mkdir(parents=True, exist_ok=True)
        path = self.bench_path or self.cases / BENCH_FILE
        write_bench(path, bench)
        self.bench, self.bench_path = bench, path
        return bench


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


@contextlib.contextmanager
def _no_collection() -> Iterator[None]:
    """Load without garbage collection: some 100,000 objects are made, and all of them stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
        gc.freeze()
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
        knowledge = load_knowledge(rules or places.rules_folder(), cache=places.rules_cache())
    folder = cases or places.cases_folder()
    beside = folder / BENCH_FILE
    path = bench or (beside if beside.is_file() else None)
    profile = load_bench(path) if path else Bench()
    check_bench(knowledge, profile, path.name if path else "bench")
    workshop = Workshop(knowledge, folder, profile, path, clock)
    if rules is not None:
        # The carried rules are proven before they are released; a person's own copy is not.
        # The checks are imported only then, so that the usual start-up stays fast.
        from triage.verify.whole import require_sound  # noqa: PLC0415

        require_sound(workshop.consultant)
    return workshop
