"""What may be done with a finding at any time: name it oneself, or leave it as it is."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

from triage.case.models import Case
from triage.plan.model import FindingLine
from triage.plan.names import zone_words
from triage.show.words import KIND_WORDS
from triage.tui.screens.form import ask_reason
from triage.tui.screens.ofcase import CaseScreen
from triage.tui.screens.windows import ChoiceScreen
from triage.tui.services import Services

NO_NAME = "no-name"


class FindingScreen(CaseScreen):
    """A screen about one finding, or about the whole specimen."""

    def __init__(self, services: Services, case_id: str, finding: str | None) -> None:
        super().__init__(services, case_id)
        self.finding = finding

    def act(self, change: Callable[[], Case]) -> None:
        """Change the case and show what comes of it."""
        raise NotImplementedError

    def line(self, finding: str | None) -> FindingLine | None:
        """Return a finding as it is read now, None for the whole specimen."""
        found = self.plan.findings if self.plan else ()
        return next((line for line in found if line.id == finding), None)

    def where(self) -> str:
        """Return where this finding is."""
        return self.where_is(self.finding)

    def where_is(self, finding: str | None) -> str:
        """Return where a finding is."""
        line = self.line(finding)
        return zone_words(line.zone_name, line.side) if line else "whole specimen"

    def action_name(self) -> None:
        """Name the deposit oneself."""
        if self.finding is None:
            self.show_fault("the whole specimen has no deposit; choose a zone first")
            return
        kinds = {each.kind for each in self.knowledge.deposits.values()}
        known = [(kind, words) for kind, words in KIND_WORDS.items() if kind in kinds]
        choices = [*known, (NO_NAME, "no name of my own")]
        self.ask(ChoiceScreen("What is it like?", choices), self._name_of_kind)

    def _name_of_kind(self, kind: str) -> None:
        if kind == NO_NAME:
            self._named("")
            return
        deposits = self.knowledge.deposits.values()
        choices = [(deposit.id, deposit.name) for deposit in deposits if deposit.kind == kind]
        self.ask(ChoiceScreen("What do you take it to be?", choices), self._named)

    def _named(self, deposit: str) -> None:
        finding = self.finding
        if finding is not None:
            self.act(lambda: self.workshop.name_deposit(self.case_id, finding, deposit or None))

    def action_accept(self) -> None:
        """Leave the finding as it is, with a reason."""
        if self.finding is None:
            self.show_fault("only a finding can be left as it is; choose a zone first")
            return
        accept = partial(self.workshop.accept, self.case_id, self.finding)
        ask_reason(
            self,
            "Leave this finding as it is",
            (self.where(),),
            "Why may it stay?",
            lambda reason: self.act(partial(accept, reason)),
        )
