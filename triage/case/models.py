"""One specimen's record: what was seen, what was tried, what a person released.

All values are frozen; the functions that change a case return a new one (``changes``).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Mapping
from typing import Annotated, ClassVar, Literal, TypeVar, get_args

from pydantic import model_validator

from triage.case.entry import Record
from triage.case.fields import (
    ITEMS,
    Answers,
    AttemptId,
    FreeMap,
    FrozenMap,
    Id,
    Photo,
    Text,
    Time,
    Word,
    one_of,
    quantity,
    refusal,
)
from triage.errors import TriageError, did_you_mean

Outcome = Literal["cleared", "better", "no-change", "worse", "damage", "not-done"]
OUTCOMES: tuple[str, ...] = get_args(Outcome)
HARMFUL = frozenset({"worse", "damage"})
Side = Literal["left", "right", "both"]
CLEAN = "looked at, clean"


class Finding(Record):
    """What was seen in one zone."""

    ALWAYS: ClassVar[frozenset[str]] = frozenset({"signs"})
    FREE: ClassVar[frozenset[str]] = frozenset({"size_um"})

    id: Id
    zone: Word
    side: Annotated[Side | None, one_of(get_args(Side))] = None
    named: Word | None = None
    size_um: Annotated[float | None, quantity("size_um")] = None
    signs: Answers = FrozenMap()
    accepted: bool = False
    reason: Text = ""

    @property
    def is_clean(self) -> bool:
        """Whether it says that its zone was looked at and is clean."""
        return self.accepted and self.reason == CLEAN

    @model_validator(mode="after")
    def _accepted_has_reason(self) -> Finding:
        if self.accepted and not self.reason.strip():
            raise refusal("accepted as it is, without a reason", "write the reason")
        return self


class Attempt(Record):
    """One pass with its outcome; never changed once recorded, only corrected by a later one."""

    ALWAYS: ClassVar[frozenset[str]] = frozenset(
        {"finding", "zone", "deposit", "method", "agent", "amount_ml", "minutes"}
    )
    FREE: ClassVar[frozenset[str]] = frozenset(
        {"note", "photo_before", "photo_after", "measured", "observed", "knowledge"}
    )

    id: AttemptId
    at: Time
    step: Word
    finding: Word | None = None
    # Further findings that the same act on the whole insect served.
    also: Annotated[tuple[Word, ...], ITEMS] = ()
    zone: Word | None = None
    deposit: Word | None = None
    method: Word | None = None
    agent: Word | None = None
    outcome: Annotated[Outcome, one_of(OUTCOMES)]
    amount_ml: Annotated[float | None, quantity("amount_ml")] = None
    minutes: Annotated[float | None, quantity("minutes")] = None
    note: Text = ""
    photo_before: Photo = None
    photo_after: Photo = None
    measured: FreeMap = FrozenMap()
    observed: Text = ""
    knowledge: Text = ""
    corrects: AttemptId | None = None

    @property
    def findings(self) -> tuple[str, ...]:
        """Return every finding that it was made on, none for a condition of the whole specimen."""
        return (*(() if self.finding is None else (self.finding,)), *self.also)


class Release(Record):
    """A person's written decision to go on after a worse or damage outcome."""

    at: Time
    attempt: AttemptId
    reason: Text

    @model_validator(mode="after")
    def _has_reason(self) -> Release:
        if not self.reason.strip():
            raise refusal("a release without a reason", "write why work may go on")
        return self


class Override(Record):
    """A preference of the user; never touches an interlock."""

    FREE: ClassVar[frozenset[str]] = frozenset({"reason"})

    at: Time
    kind: Word
    finding: Word | None = None
    method: Word | None = None
    # Of a step on which documents disagree: the one whose figures are followed.
    reading: Word | None = None
    reason: Text = ""


class Withdrawn(Record):
    """A finding that was entered by mistake: it counts for nothing and stays on file."""

    at: Time
    reason: Text
    finding: Finding

    @model_validator(mode="after")
    def _has_reason(self) -> Withdrawn:
        if not self.reason.strip():
            raise refusal("a finding is withdrawn without a reason", "write the reason")
        return self


class Restated(Record):
    """A sign of a finding that was answered once more: with another value, or the same again."""

    at: Time
    finding: Word
    question: Word
    before: Word
    after: Word


class Timer(Record):
    """A running dwell timer, one per step."""

    FREE: ClassVar[frozenset[str]] = frozenset({"label"})

    step: Word
    started: Time
    ends: Time
    label: Text = ""


E = TypeVar("E", Finding, Attempt)


class Case(Record):
    """The whole record of one specimen; ``id`` is the name of its file."""

    ALWAYS: ClassVar[frozenset[str]] = frozenset(
        {"format", "title", "taxon", "answers", "findings", "attempts"}
    )
    FREE: ClassVar[frozenset[str]] = frozenset(
        {"format", "id", "title", "invented", "timers", "merged_from"}
    )
    # A person is protected by the bench; written here it would protect nobody.
    ELSEWHERE: ClassVar[Mapping[str, str]] = dict.fromkeys(
        ("circumstances", "refused"), "in the bench file"
    )

    format: Literal[1]
    id: Id
    title: Text = ""
    invented: bool = False
    # Of a copy that contradicts another record of the same specimen: the id of that one.
    merged_from: Text = ""
    taxon: Word = "unknown"
    specimen: FreeMap = FrozenMap()
    answers: Answers = FrozenMap()
    findings: Annotated[tuple[Finding, ...], ITEMS] = ()
    attempts: Annotated[tuple[Attempt, ...], ITEMS] = ()
    releases: Annotated[tuple[Release, ...], ITEMS] = ()
    overrides: Annotated[tuple[Override, ...], ITEMS] = ()
    timers: Annotated[tuple[Timer, ...], ITEMS] = ()
    withdrawn: Annotated[tuple[Withdrawn, ...], ITEMS] = ()
    restated: Annotated[tuple[Restated, ...], ITEMS] = ()

    @model_validator(mode="after")
    def _holds_together(self) -> Case:
        for kind, name in (("findings", "id"), ("attempts", "id"), ("timers", "step")):
            _refuse_twice(kind, name, [getattr(item, name) for item in getattr(self, kind)])
        known = [finding.id for finding in self.findings]
        for kind in ("attempts", "overrides"):
            named = [(i, item.finding) for i, item in enumerate(getattr(self, kind))]
            _refuse_unknown_finding(kind, "finding", named, known)
        also = [(i, name) for i, attempt in enumerate(self.attempts) for name in attempt.also]
        _refuse_unknown_finding("attempts", "also", also, known)
        _counted(self.attempts)
        harmful = {attempt.id for attempt in self.attempts if attempt.outcome in HARMFUL}
        for index, release in enumerate(self.releases):
            if release.attempt not in harmful:
                raise refusal(
                    f'"{release.attempt}" holds nothing',
                    "name an attempt whose outcome is worse or damage",
                    ("releases", index, "attempt"),
                )
        return self

    def finding(self, finding_id: str) -> Finding:
        """Return the finding with this id, else raise ``TriageError``."""
        return _known(self.id, "finding", finding_id, self.findings)

    def in_doubt(self) -> dict[tuple[str, str], Restated]:
        """Return the signs of each (finding, question) told in two ways and not confirmed since."""
        newest = {(each.finding, each.question): each for each in self.restated}
        signs = {(f.id, q): answer for f in self.findings for q, answer in f.signs.items()}
        return {
            place: each
            for place, each in newest.items()
            if each.before != each.after == signs.get(place)
        }

    def attempt(self, attempt_id: str) -> Attempt:
        """Return the attempt with this id, else raise ``TriageError``."""
        return _known(self.id, "attempt", attempt_id, self.attempts)

    def counted(self) -> Mapping[str, Attempt]:
        """Return the attempt that counts in the place of each first one, by the id of that."""
        return _counted(self.attempts)

    def effective_attempts(self) -> tuple[Attempt, ...]:
        """Return the attempts as they count: a correction stands in the place of its original.

        The place is that of the first attempt of the chain, so passes keep their order; of
        several corrections the last one counts.
        """
        return tuple(self.counted().values())

    def held_by(self) -> tuple[str, ...]:
        """Return the ids of the attempts that ended worse or in damage and are not released."""
        released = {release.attempt for release in self.releases}
        return tuple(
            attempt.id
            for attempt in self.effective_attempts()
            if attempt.outcome in HARMFUL and attempt.id not in released
        )

    @property
    def origin(self) -> str:
        """Return the id under which the record began; a copy beside another one keeps it."""
        return self.merged_from or self.id

    def missing_attempts(self) -> tuple[str, ...]:
        """Return the ids that no attempt bears below the last one: none is ever left out."""
        numbers = {int(attempt.id[1:]) for attempt in self.attempts}
        gaps = itertools.islice(
            (n for n in range(1, max(numbers, default=0)) if n not in numbers), 9
        )
        return tuple(f"a{number}" for number in gaps)

    def next_attempt_id(self) -> str:
        """Return an attempt id above every one in use."""
        return f"a{1 + max((int(attempt.id[1:]) for attempt in self.attempts), default=0)}"

    def next_finding_id(self) -> str:
        """Return the first of f1, f2, ... that is not in use."""
        used = {finding.id for finding in self.findings}
        used |= {entry.finding.id for entry in self.withdrawn}
        return next(name for name in map("f{}".format, itertools.count(1)) if name not in used)


def _known(case: str, kind: str, name: str, held: Iterable[E]) -> E:
    entries = {entry.id: entry for entry in held}
    if name not in entries:
        mend = did_you_mean(name, entries)
        raise TriageError(f'case "{case}" has no {kind} "{name}"', mend=mend)
    return entries[name]


def _counted(attempts: tuple[Attempt, ...]) -> dict[str, Attempt]:
    """Return the attempt that counts in the place of each first one; refuse a bad correction."""
    first_of: dict[str, str] = {}
    counted: dict[str, Attempt] = {}
    for index, attempt in enumerate(attempts):
        first = attempt.id
        if attempt.corrects is not None:
            if attempt.corrects not in first_of:
                raise refusal(
                    f'no attempt "{attempt.corrects}" stands before this one',
                    did_you_mean(attempt.corrects, first_of),
                    ("attempts", index, "corrects"),
                )
            first = first_of[attempt.corrects]
            before = counted[first].outcome
            # A correction may not be a silent way round a release.
            if before in HARMFUL and attempt.outcome not in HARMFUL and not attempt.note.strip():
                raise refusal(
                    f"the outcome {before} is corrected without a note",
                    "write the reason as its note",
                    ("attempts", index),
                )
        first_of[attempt.id] = first
        counted[first] = attempt
    return counted


def _refuse_twice(kind: str, name: str, held: list[str]) -> None:
    seen: set[str] = set()
    for index, word in enumerate(held):
        if word in seen:
            raise refusal(f'"{word}" stands twice', "give each its own", (kind, index, name))
        seen.add(word)


def _refuse_unknown_finding(
    kind: str, key: str, named: Iterable[tuple[int, str | None]], known: list[str]
) -> None:
    for index, finding in named:
        if finding is not None and finding not in known:
            raise refusal(
                f'unknown finding "{finding}"', did_you_mean(finding, known), (kind, index, key)
            )
