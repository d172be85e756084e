"""The very last act on a case, what it was in words, and the case without it."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from triage.case import changes
from triage.case.models import Attempt, Case, Finding, Override
from triage.knowledge.book import Knowledge

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
            seen = "clean" if finding.is_clean else "what was seen"
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
