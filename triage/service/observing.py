"""What is seen goes into a case: answers, findings, signs, names, what is accepted."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from types import MappingProxyType
from typing import TYPE_CHECKING

from triage.case import changes
from triage.case.models import CLEAN, Case
from triage.errors import TriageError
from triage.looks import unseen_zones
from triage.plan.model import STANDING

if TYPE_CHECKING:
    from triage.service.workshop import Workshop

EMPTY: Mapping[str, str] = MappingProxyType({})


class Observing:
    """Acts of looking; each reads the newest case, changes it through the store, returns it."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop

    def answer(
        self, case: str | Path, question: str, answer: str | None, finding: str | None = None
    ) -> Case:
        """Record an answer about the specimen or a finding; None or ``unknown`` takes it back."""
        return self.answer_all(case, finding, {question: answer or "unknown"})

    def answer_all(self, case: str | Path, finding: str | None, answers: Mapping[str, str]) -> Case:
        """Record several answers in one write; a wrong one leaves the case as it was."""
        return self.shop.change(case, lambda old: self._answered(case, old, finding, answers))

    def _answered(
        self, case: str | Path, old: Case, finding: str | None, answers: Mapping[str, str]
    ) -> Case:
        """Return the case with several answers; what was told otherwise before stays on file."""
        new, shop = old, self.shop
        for question, answer in answers.items():
            told = None if answer == "unknown" else answer
            new = shop.with_answer(new, finding, question, told)
        if finding is None:
            return new
        signs = [q for q in answers if shop.knowledge.questions[q].gives == "sign"]
        again = [q for q in signs if not shop.just_told(case, finding, q)]
        return changes.with_restated(old, new, shop.clock(), finding, again)

    def see(
        self,
        case: str | Path,
        zone: str | None = None,
        side: str | None = None,
        *,
        finding: str | None = None,
        named: str | None = None,
        size_um: float | None = None,
        signs: Mapping[str, str] = EMPTY,
    ) -> tuple[Case, str]:
        """Record what is seen at a finding, a new one if a zone is given; return case and its id.

        ``named`` is what a person takes it for; an empty name takes that back.
        """
        if zone is not None:
            self.shop.knowledge.require("zone", zone)
        if named:
            self.shop.knowledge.require("deposit", named)
        told: dict[str, object] = {} if named is None else {"named": named or None}
        if size_um is not None:
            told["size_um"] = size_um

        def change(old: Case) -> Case:
            new = old if zone is None else _added(old, zone, side)
            name = finding or new.findings[-1].id
            return self._answered(case, changes.with_changed(new, name, **told), name, signs)

        made = self.shop.change(case, change)
        return made, finding or made.findings[-1].id

    def accept(self, case: str | Path, finding: str, reason: str) -> Case:
        """Accept a finding as it is, with the reason."""
        return self.shop.change(case, lambda old: changes.with_accepted(old, finding, reason))

    def withdraw(self, case: str | Path, finding: str, reason: str) -> Case:
        """Withdraw a finding that was entered by mistake; it stays on file with the reason.

        Raises
        ------
        TriageError: no such finding, no reason, or something was recorded on it.
        """
        return self.shop.change(
            case, lambda old: changes.without_finding(old, finding, self.shop.clock(), reason)
        )

    def declare_clean(self, case: str | Path, zone: str, side: str | None = None) -> Case:
        """Record that a zone was looked at and is clean.

        It stands in the case as an accepted finding with that reason; a second time changes
        nothing.

        Raises
        ------
        TriageError: unknown zone, or something is still open there.
        """
        self.shop.knowledge.require("zone", zone)

        def change(old: Case) -> Case:
            there = [f for f in old.findings if f.zone == zone and f.side in (side, None, "both")]
            if any(f.is_clean and f.side == side for f in there):
                return old
            self._refuse_open(old, {f.id for f in there})
            return _added(old, zone, side, accepted=True, reason=CLEAN)

        return self.shop.change(case, change)

    def declare_rest_clean(self, case: str | Path) -> Case:
        """Record of every zone where nothing was noted that it was looked at and is clean."""

        def change(old: Case) -> Case:
            for zone in unseen_zones(self.shop.knowledge, old):
                old = _added(old, zone, accepted=True, reason=CLEAN)
            return old

        return self.shop.change(case, change)

    def _refuse_open(self, case: Case, findings: set[str]) -> None:
        for line in self.shop.plan(case).findings if findings else ():
            if line.id in findings and line.state in STANDING:
                raise TriageError(
                    f"{line.zone_name} is not clean: {line.id} is there, {line.deposit_name}",
                    mend="clear it, or leave it as it is with a reason",
                )


def _added(case: Case, zone: str, side: str | None = None, **told: object) -> Case:
    """Return the case with one more finding."""
    finding = changes.new_finding(case.next_finding_id(), zone, side=side, **told)
    return changes.with_finding(case, finding)
