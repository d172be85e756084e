"""What is seen goes into a case: answers, findings, signs, names, what is accepted."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING

from triage.case import changes
from triage.case.models import CLEAN, Case
from triage.errors import TriageError
from triage.looks import unseen_zones
from triage.plan.model import STANDING

if TYPE_CHECKING:
    from triage.service.workshop import Workshop


class Observing:
    """Acts of looking; each reads the newest case, changes it through the store, returns it."""

    def __init__(self, shop: Workshop) -> None:
        self.shop = shop

    def answer(self, case: str | Path, question: str, answer: str | None) -> Case:
        """Record an answer about the whole specimen; None or ``unknown`` takes it back."""
        return self.answer_all(case, None, {question: answer or "unknown"})

    def add_finding(self, case: str | Path, zone: str, side: str | None = None) -> tuple[Case, str]:
        """Add a finding in a zone; return the case and the id of the finding."""
        self.shop.knowledge.require("zone", zone)

        def change(old: Case) -> Case:
            finding = changes.new_finding(old.next_finding_id(), zone, side=side)
            return changes.with_finding(old, finding)

        made = self.shop.change(case, change)
        return made, made.findings[-1].id

    def sign(self, case: str | Path, finding: str, question: str, answer: str | None) -> Case:
        """Record a sign of a finding; None or ``unknown`` takes it back."""
        return self.answer_all(case, finding, {question: answer or "unknown"})

    def answer_all(self, case: str | Path, finding: str | None, answers: Mapping[str, str]) -> Case:
        """Record several answers in one write; a wrong one leaves the case as it was."""
        return self.shop.change(case, lambda old: self._answered(case, old, finding, answers))

    def _answered(
        self, case: str | Path, old: Case, finding: str | None, answers: Mapping[str, str]
    ) -> Case:
        """Return the case with several answers; what was told otherwise before stays on file."""
        new = old
        for question, answer in answers.items():
            new = self.shop.with_answer(
                new, finding, question, None if answer == "unknown" else answer
            )
        if finding is None:
            return new
        again = [
            q
            for q in answers
            if self.shop.knowledge.questions[q].gives == "sign"
            and not self.shop.just_told(case, finding, q)
        ]
        return changes.with_restated(old, new, self.shop.clock(), finding, again)

    def see(
        self,
        case: str | Path,
        *,
        zone: str | None = None,
        finding: str | None = None,
        side: str | None = None,
        named: str | None = None,
        size_um: float | None = None,
        signs: Mapping[str, str],
    ) -> str:
        """Record signs of a finding, adding it first if a zone is given; return its id."""
        if zone is not None:
            self.shop.knowledge.require("zone", zone)
        if named is not None:
            self.shop.knowledge.require("deposit", named)

        def change(old: Case) -> Case:
            name = finding or old.next_finding_id()
            if zone is not None:
                old = changes.with_finding(old, changes.new_finding(name, zone, side=side))
            if named is not None:
                old = changes.with_changed(old, name, named=named)
            if size_um is not None:
                old = changes.with_changed(old, name, size_um=size_um)
            return self._answered(case, old, name, signs)

        made = self.shop.change(case, change)
        return finding or made.findings[-1].id

    def name_deposit(self, case: str | Path, finding: str, deposit: str | None) -> Case:
        """Record what a person takes a finding for; None takes it back."""
        if deposit is not None:
            self.shop.knowledge.require("deposit", deposit)
        return self.shop.change(case, lambda old: changes.with_changed(old, finding, named=deposit))

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
        self.shop.knowledge.require("zone", zone)
        found: list[str] = []

        def change(old: Case) -> Case:
            there = [f for f in old.findings if f.zone == zone and f.side in (side, None, "both")]
            known = next((f.id for f in there if f.is_clean and f.side == side), None)
            if known is not None:
                found[:] = [known]
                return old
            self._refuse_open(old, {f.id for f in there})
            finding = changes.new_finding(old.next_finding_id(), zone, side=side)
            found[:] = [finding.id]
            return changes.with_accepted(changes.with_finding(old, finding), finding.id, CLEAN)

        return self.shop.change(case, change), found[0]

    def declare_rest_clean(self, case: str | Path) -> Case:
        """Record of every zone where nothing was noted that it was looked at and is clean."""

        def change(old: Case) -> Case:
            for zone in unseen_zones(self.shop.knowledge, old):
                finding = changes.new_finding(old.next_finding_id(), zone)
                old = changes.with_finding(old, finding)
                old = changes.with_accepted(old, finding.id, CLEAN)
            return old

        return self.shop.change(case, change)

    def _refuse_open(self, case: Case, findings: set[str]) -> None:
        for line in self.shop.plan(case).findings if findings else ():
            if line.id in findings and line.state in STANDING:
                raise TriageError(
                    f"{line.zone_name} is not clean: {line.id} is there, {line.deposit_name}",
                    mend="clear it, or leave it as it is with a reason",
                )
