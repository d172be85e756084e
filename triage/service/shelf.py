"""The cases on the shelf: listed, read, begun, changed; and what this session did to them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from triage.case import changes
from triage.case.folder import CaseEntry, list_cases
from triage.case.models import Attempt, Case, Finding, Override
from triage.case.naming import SUFFIX, is_case_name, is_reserved
from triage.case.profile import Bench
from triage.case.store import create_case, load_case, make_folder, update_case
from triage.engine.consult import Consultant
from triage.errors import TriageError, Where, did_you_mean
from triage.history.index import FolderRecord
from triage.knowledge.book import Knowledge
from triage.looks import is_clean
from triage.plan.planner import Planner
from triage.service.listing import Clock, local_now
from triage.yamltext import parse_yaml, read_text

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
    """The cases of a folder, and the acts on them that this session can take back.

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

    def stamp(self, case: str | Path) -> tuple[int, int, int]:
        """Return what tells whether the file of a case was written since; zeros if it is gone."""
        try:
            status = self.path_of(case).stat()
        except (OSError, TriageError):
            return (0, 0, 0)
        return (status.st_mtime_ns, status.st_size, status.st_ino)


NO_ANSWER = "not answered"


@dataclass(frozen=True)
class Act:
    """A case before and after one act of the user."""

    old: Case
    new: Case
    at: datetime

    @property
    def added(self) -> tuple[Finding, ...]:
        """Return the findings that the act entered."""
        known = {finding.id for finding in self.old.findings}
        return tuple(finding for finding in self.new.findings if finding.id not in known)

    @property
    def attempts(self) -> tuple[Attempt, ...]:
        """Return what the act recorded."""
        return self.new.attempts[len(self.old.attempts) :]

    @property
    def is_recorded(self) -> bool:
        """Whether it is an entry that is only ever taken back by another one, with its reason."""
        return bool(self.attempts) or self.old.overrides != self.new.overrides

    @property
    def can_be_taken_back(self) -> bool:
        """Whether there is anything in it to take back: no timer, no release of a hold."""
        answers = self.old.answers != self.new.answers or self.old.taxon != self.new.taxon
        took_away = len(self.new.withdrawn) > len(self.old.withdrawn)
        findings = self.old.findings != self.new.findings and not took_away
        return self.is_recorded or answers or findings

    def told(self, finding: str, question: str) -> bool:
        """Return whether the act answered a question about a finding."""
        before, after = (
            next((f.signs.get(question) for f in case.findings if f.id == finding), None)
            for case in (self.old, self.new)
        )
        return before != after

    def words(self, knowledge: Knowledge) -> str:
        """Return what the act was, as it is asked about before it is taken back."""
        return "; ".join(self._told(knowledge)) or "nothing"

    def _told(self, knowledge: Knowledge) -> Iterator[str]:
        for attempt in self.attempts:
            yield record_words(attempt, knowledge)
        if self.old.overrides != self.new.overrides:
            yield record_words(self.new.overrides[-1], knowledge)
        for finding in self.added:
            place = knowledge.zones[finding.zone].name if finding.zone in knowledge.zones else ""
            seen = "clean" if is_clean(finding) else "what was seen"
            yield f"{seen} at {place or finding.zone}{f' ({finding.side})' if finding.side else ''}"
        if self.old.taxon != self.new.taxon:
            yield f"the group: {self.new.taxon}"
        if not self.attempts:  # else they follow from what was recorded
            yield from _answers(knowledge, self.old.answers, self.new.answers)
        for before, after in _changed(self.old, self.new):
            yield from _answers(knowledge, before.signs, after.signs)
            if before.named != after.named:
                deposit = knowledge.deposits.get(after.named or "")
                yield f"named: {deposit.name if deposit else 'no name'}"
            if after.accepted and not before.accepted:
                yield f"left as it is: {after.reason}"

    def taken_back(self, now: Case, at: datetime) -> Case:
        """Return the case as it is now without what this act answered or entered.

        Only what still stands as the act left it is put back.

        Raises
        ------
        TriageError: something was recorded about it since.
        """
        for finding in self.added:
            if any(each.id == finding.id for each in now.findings):
                now = changes.without_finding(now, finding.id, at, "entered by mistake")
        now = changes.with_answers(now, _put_back(self.old.answers, self.new.answers, now.answers))
        if self.old.taxon != self.new.taxon == now.taxon:
            now = changes.with_taxon(now, self.old.taxon)
        for before, after in _changed(self.old, self.new):
            now = _finding_put_back(now, before, after)
        return now


def record_words(record: Attempt | Override, knowledge: Knowledge) -> str:
    """Return an attempt or a skip as it is asked about before it is taken back."""
    method = knowledge.methods.get(record.method or "")
    at = f"{record.at:%Y-%m-%d %H:%M}"
    if isinstance(record, Override):
        name = method.name if method else "a step"
        return f"Skipped: {name}, {at}. {record.reason}"
    name = method.name if method else record.step
    return f"Recorded: {name}, {knowledge.outcome_words(record.method, record.outcome)}, {at}."


def _finding_put_back(now: Case, before: Finding, after: Finding) -> Case:
    held = next((each for each in now.findings if each.id == after.id), None)
    if held is None:
        return now
    for question, answer in _put_back(before.signs, after.signs, held.signs).items():
        now = changes.with_sign(now, after.id, question, answer)
    if before.named != after.named == held.named:
        now = changes.with_changed(now, after.id, named=before.named)
    if after.accepted and held.accepted and not before.accepted:
        now = changes.with_changed(now, after.id, accepted=False, reason="")
    return now


def _changed(old: Case, new: Case) -> Iterator[tuple[Finding, Finding]]:
    before = {finding.id: finding for finding in old.findings}
    for finding in new.findings:
        if finding.id in before and before[finding.id] != finding:
            yield before[finding.id], finding


def _put_back(
    old: Mapping[str, str], new: Mapping[str, str], now: Mapping[str, str]
) -> dict[str, str | None]:
    changed = [key for key in {**old, **new} if old.get(key) != new.get(key)]
    return {key: old.get(key) for key in changed if now.get(key) == new.get(key)}


def _answers(knowledge: Knowledge, old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[str]:
    for key in {**old, **new}:
        if old.get(key) != new.get(key):
            question = knowledge.questions.get(key)
            texts = {answer.id: answer.text for answer in question.answers} if question else {}
            asked = question.ask if question else key
            given = new.get(key)
            yield f"{asked} {texts.get(given or '', given or NO_ANSWER)}"
