"""One specimen's record: what was seen, what was tried, what a person released.

All values are frozen; the functions that change a case return a new one (``changes``).
"""

from __future__ import annotations

import itertools
from collections.abc import Iterable, Iterator, Mapping
from datetime import datetime
from typing import Annotated, Any, ClassVar, Literal

from pydantic import BaseModel, ConfigDict, ValidationInfo, model_validator

from triage.case.fields import (
    ITEMS,
    Answers,
    AttemptId,
    FreeMap,
    Id,
    Photo,
    Text,
    Time,
    Word,
    one_of,
    quantity,
    refusal,
    shown,
    words_of,
)
from triage.case.frozen import FrozenMap, thawed
from triage.case.nearmiss import meant_key, squeezed
from triage.errors import TriageError, did_you_mean

Outcome = Literal["cleared", "better", "no-change", "worse", "damage", "not-done"]
OUTCOMES = words_of(Outcome)
HARMFUL = frozenset({"worse", "damage"})
Side = Literal["left", "right", "both"]


class Record(BaseModel):
    """A frozen entry of a case file that keeps the keys it does not know."""

    # Built when the first one is made: a model costs more to build than the program to start.
    model_config = ConfigDict(
        frozen=True, extra="allow", arbitrary_types_allowed=True, defer_build=True
    )

    # Keys that are written even when they hold their default, so that a reader sees them.
    ALWAYS: ClassVar[frozenset[str]] = frozenset()
    # Keys that protect nothing: others may resemble them.
    FREE: ClassVar[frozenset[str]] = frozenset()
    # Keys that belong to another entry, with the place of that entry in words.
    ELSEWHERE: ClassVar[Mapping[str, str]] = {}

    @model_validator(mode="before")
    @classmethod
    def _refuse_near_miss(cls, content: Any, info: ValidationInfo) -> Any:
        """Refuse an unknown key that was meant for a known one.

        Unknown keys are kept, but an ``amount_l`` beside a missing ``amount_ml`` would silently
        drop an amount from the day's exposure, and a ``circumstance`` what it should protect.
        """
        del info
        if not isinstance(content, dict):
            return content
        unknown = [key for key in content if key not in cls.model_fields]
        if not unknown:
            return content
        known = {*cls.model_fields, *cls.ELSEWHERE}
        spelt = {squeezed(name): name for name in known}
        for key in unknown:
            meant = spelt.get(squeezed(key)) or meant_key(key, known - cls.FREE, content)
            if meant is not None:
                place = f" {cls.ELSEWHERE[meant]}" if meant in cls.ELSEWHERE else ""
                mend = f'did you mean "{meant}"{place}?'
                raise refusal(f'unknown key "{shown(key)}"', mend, (key,))
        return content

    def plain(self) -> dict[str, Any]:
        """Return the entry as YAML would hold it: defaults left out, unknown keys last."""
        content: dict[str, Any] = {}
        for name, field in type(self).model_fields.items():
            held = getattr(self, name)
            default = field.get_default(call_default_factory=True)
            if name in self.ALWAYS or field.is_required() or held != default:
                content[name] = _plain(held)
        content.update(thawed(self.model_extra or {}))
        return content

    def unknown_keys(self) -> Iterator[tuple[str | int, ...]]:
        """Yield the path of every key that is kept but not known."""
        yield from ((key,) for key in self.model_extra or {})
        for name in type(self).model_fields:
            held = getattr(self, name)
            for place, item in enumerate(held) if isinstance(held, tuple) else [(None, held)]:
                if isinstance(item, Record):
                    step = (name,) if place is None else (name, place)
                    yield from ((*step, *path) for path in item.unknown_keys())


class Finding(Record):
    """What was seen in one zone."""

    ALWAYS: ClassVar[frozenset[str]] = frozenset({"signs"})
    FREE: ClassVar[frozenset[str]] = frozenset({"size_um"})

    id: Id
    zone: Word
    side: Annotated[Side | None, one_of(words_of(Side))] = None
    named: Word | None = None
    size_um: Annotated[float | None, quantity("size_um")] = None
    signs: Answers = FrozenMap()
    accepted: bool = False
    reason: Text = ""

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
        for finding in self.findings:
            if finding.id == finding_id:
                return finding
        raise TriageError(
            f'case "{self.id}" has no finding "{finding_id}"',
            mend=did_you_mean(finding_id, (finding.id for finding in self.findings)),
        )

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
        for attempt in self.attempts:
            if attempt.id == attempt_id:
                return attempt
        raise TriageError(
            f'case "{self.id}" has no attempt "{attempt_id}"',
            mend=did_you_mean(attempt_id, (attempt.id for attempt in self.attempts)),
        )

    def effective_attempts(self) -> tuple[Attempt, ...]:
        """Return the attempts as they count: a correction stands in the place of its original.

        The place is that of the first attempt of the chain, so passes keep their order; of
        several corrections the last one counts.
        """
        return tuple(_counted(self.attempts).values())

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
        number = 1
        while f"f{number}" in used:
            number += 1
        return f"f{number}"


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


def _plain(held: Any) -> Any:
    if isinstance(held, Record):
        return held.plain()
    if isinstance(held, datetime):
        return held.isoformat()
    if isinstance(held, tuple):
        return [_plain(inner) for inner in held]
    return thawed(held)
