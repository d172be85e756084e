"""What the attempts so far mean for one finding or one condition of the whole specimen."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field

from triage.case.models import HARMFUL, Attempt, Case, Override
from triage.engine.vocabulary import UNKNOWN
from triage.errors import TriageError, did_you_mean
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method

SKIP = "skip-method"
#: takes the skip of a method back; both stay in the record
UNSKIP = "offer-method-again"
#: which of the documents that disagree on a method is followed; the newest counts
FOLLOW = "follow-reading"
INSERT = "-before-"
# Outcomes that use up a pass; "not done" does not.
PASSES = frozenset({"cleared", "better", "no-change", "worse", "damage"})


@dataclass(frozen=True, slots=True)
class Target:
    """What a ladder works on: a finding, or a condition of the whole specimen."""

    key: str
    finding: str | None
    condition: str | None = None

    def owns(self, attempt: Attempt) -> bool:
        """Return whether an attempt was made on this target, by itself or with others at once."""
        if self.finding is not None:
            return self.finding in attempt.findings
        return attempt.finding is None and attempt.deposit == self.condition


def finding_target(finding: str) -> Target:
    """Return the target of a finding."""
    return Target(finding, finding)


def condition_target(condition: str) -> Target:
    """Return the target of a condition; its key cannot be a finding id of the store (f1, f2)."""
    return Target(f"case-{condition}", None, condition)


def step_id(target: Target, method: str) -> str:
    """Return the stable id of the step that uses a method on a target."""
    return f"{target.key}-{method}"


def insert_id(target: Target, first: str, what: str) -> str:
    """Return the id of a step that must stand before another, such as a test spot."""
    return f"{target.key}-{first}{INSERT}{what}"


@dataclass(frozen=True, slots=True)
class Progress:
    """What was tried on one target.

    ``passes`` counts by method; ``harmed`` are methods after which it got worse or was damaged;
    ``skipped`` are methods a person chose to skip, with the reason; ``inserts`` are the ids of
    inserted steps that went well.
    """

    cleared_by: str | None = None
    passes: Mapping[str, int] = field(default_factory=dict)
    last: Mapping[str, str] = field(default_factory=dict)
    harmed: frozenset[str] = frozenset()
    failed_inserts: frozenset[str] = frozenset()
    inserts: frozenset[str] = frozenset()
    skipped: Mapping[str, str] = field(default_factory=dict)
    unchanged: int = 0

    def done(self, method: str) -> int:
        """Return how many passes of a method have been made."""
        return self.passes.get(method, 0)


def is_preparation(knowledge: Knowledge, attempt: Attempt) -> bool:
    """Return whether an attempt only made ready for the act: it closes nothing.

    Whatever stood before another step did, and every method that the knowledge calls so.
    """
    kind = knowledge.outcomes_at(attempt.method)
    return INSERT in attempt.step or (kind is not None and not kind.closes)


def answers_after(
    knowledge: Knowledge, attempt: Attempt, told: Mapping[str, str]
) -> Mapping[str, str]:
    """Return the answers that an attempt gives.

    Those of the act on a condition, if it cleared; what nobody told, where it came through without
    harm; and what its worse outcome shows.
    """
    kind = knowledge.outcomes_at(attempt.method)
    if kind is not None and attempt.outcome == "worse":
        return kind.when_worse
    if attempt.outcome not in PASSES - HARMFUL or is_preparation(knowledge, attempt):
        return {}
    method = knowledge.methods.get(attempt.method or "")
    shows = knowledge.techniques[method.technique].shows if method else {}
    shown = {q: a for q, a in shows.items() if told.get(q, UNKNOWN) == UNKNOWN}
    entry = knowledge.conditions.get(attempt.deposit or "")
    if entry is None or attempt.finding is not None or attempt.outcome != "cleared":
        return shown
    return shown | dict(entry.when_cleared)


def progress_of(knowledge: Knowledge, case: Case, target: Target) -> Progress:
    """Return the progress on a target from the case's effective attempts and overrides."""
    passes: dict[str, int] = {}
    last: dict[str, str] = {}
    harmed: set[str] = set()
    tried: dict[str, str] = {}
    cleared: str | None = None
    unchanged = 0
    for attempt in attempts_on(knowledge, case, target):
        method, outcome = attempt.method or "", attempt.outcome
        if INSERT in attempt.step:
            # The newest result of a test spot counts.
            tried[attempt.step] = outcome
            continue
        last[method] = outcome
        if outcome not in PASSES:
            continue
        passes[method] = passes.get(method, 0) + 1
        unchanged = unchanged + 1 if outcome == "no-change" else 0
        if outcome in HARMFUL:
            harmed.add(method)
        if outcome != "cleared":
            cleared = None
        elif not is_preparation(knowledge, attempt):
            cleared = attempt.id
    good = {step for step, outcome in tried.items() if outcome not in {*HARMFUL, "not-done"}}
    return Progress(
        cleared_by=cleared,
        passes=passes,
        last=last,
        harmed=frozenset(harmed),
        failed_inserts=frozenset(step for step, outcome in tried.items() if outcome in HARMFUL),
        inserts=frozenset(good),
        skipped=_skips(case, target),
        unchanged=unchanged,
    )


def attempts_on(knowledge: Knowledge, case: Case, target: Target) -> Iterator[Attempt]:
    """Yield the attempts on a target, and trial spots elsewhere on the same kind of surface.

    What a liquid does to a surface it does beside another finding too, good or bad.
    """
    zone = case.finding(target.finding).zone if target.finding is not None else None
    surface = surface_of(knowledge, zone)
    for attempt in case.effective_attempts():
        method = knowledge.methods.get(attempt.method or "")
        if target.owns(attempt):
            yield attempt
        elif (
            surface
            and INSERT in attempt.step
            and method is not None
            and method.tries_next
            and surface_of(knowledge, attempt.zone) == surface
        ):
            tried = attempt.step.rsplit(INSERT, 1)[1]
            mine = insert_id(target, method.id, tried)
            yield attempt.model_copy(update={"step": mine})


def surface_of(knowledge: Knowledge, zone: str | None) -> frozenset[str]:
    """Return the kind of surface of a zone, nothing where it is not known."""
    known = knowledge.zones.get(zone or "")
    return frozenset(known.surface) if known else frozenset()


def _skips(case: Case, target: Target) -> dict[str, str]:
    standing = standing_skips(case.overrides)
    return {s.method: s.reason for s in standing if s.method and s.finding == target.finding}


def standing_skips(overrides: Iterable[Override]) -> tuple[Override, ...]:
    """Return the skips that were not taken back, the newest of each method, in their order."""
    standing: dict[tuple[str | None, str], Override] = {}
    for override in overrides:
        if not override.method or not override.reason.strip():
            continue
        key = (override.finding, override.method)
        if override.kind in (SKIP, UNSKIP):
            standing.pop(key, None)
        if override.kind == SKIP:
            standing[key] = override
    return tuple(standing.values())


def as_followed(knowledge: Knowledge, case: Case, method_id: str) -> tuple[Method, str | None]:
    """Return a method by the document that a person chose, and that document; None: its own.

    Raises
    ------
    TriageError: the knowledge no longer has that reading: nobody falls back without being told.
    """
    method = knowledge.methods[method_id]
    chosen = [o.reading for o in case.overrides if (o.kind, o.method) == (FOLLOW, method_id)]
    source = chosen[-1] if chosen and chosen[-1] != method.source else None
    if source is not None and source not in method.followable:
        raise TriageError(
            f'case "{case.id}" follows "{source}" for {method.name}, which is not known here',
            mend=did_you_mean(source, method.followable),
        )
    return method.followed(source), source


def last_record(case: Case) -> Attempt | Override | None:
    """Return what an undo would take back: the last attempt that counts, or a later skip."""
    counted = [a for a in case.effective_attempts() if a.outcome != "not-done"]
    attempt = max(counted, key=lambda a: int(a.id[1:]), default=None)
    skips = standing_skips(case.overrides)
    if skips and (attempt is None or skips[-1].at > attempt.at):
        return skips[-1]
    return attempt


def closed_findings(knowledge: Knowledge, case: Case) -> frozenset[str]:
    """Return the findings that an attempt cleared or a person accepted as they are."""
    return frozenset(
        finding.id
        for finding in case.findings
        if finding.accepted or progress_of(knowledge, case, finding_target(finding.id)).cleared_by
    )
