"""Sets of answers about one finding that together would read it otherwise.

No single answer need matter where several together would: a finding that is not settled, or one
whose settled reading two strong signs could shake. For each deposit that it could still be, the
open answers that speak most for it are taken together.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from triage.engine.casefacts import SPECIMEN
from triage.engine.vocabulary import UNKNOWN
from triage.explain.likelihood import Likelihood
from triage.explain.sweep import Sweep
from triage.plan.lookahead import with_values

# A settled finding is doubted by this many of the strongest open answers for each rival.
SURPRISES = 2
Place = tuple[str, str]
Values = dict[Place, str]
Lead = tuple[str, float, str]


@dataclass(frozen=True, slots=True)
class Rival:
    """A deposit that a finding could still be, and the open answers that speak most for it.

    ``every`` holds all of them where ``values`` holds only the strongest few.
    """

    deposit: str
    chance: float
    values: Values
    every: Values


class Rivals:
    """Finds the rivals of a reading; what tells two deposits apart best is kept."""

    def __init__(self, sweep: Sweep, likelihood: Likelihood) -> None:
        self.sweep = sweep
        self.likelihood = likelihood

    def of(self, finding: str) -> Iterator[Rival]:
        """Yield each deposit that a finding could still be, with what would make it so."""
        settled = self.sweep.settled(finding)
        chances = self.likelihood.candidates(self.sweep.certainties(finding))
        for deposit, chance in sorted(chances.items()):
            if deposit == settled:
                continue
            values = self._toward(finding, deposit, settled)
            every = self._toward(finding, deposit, None) if settled is not None else values
            if values:
                yield Rival(deposit, chance, values, every)

    def shakes(self, finding: str, values: Mapping[Place, str]) -> bool:
        """Return whether later rules would read the finding otherwise with these answers.

        A settled finding must lose its settled reading: what only adds a doubt to it is found
        answer by answer.
        """
        look = self.sweep.look
        before = look.summary(self.sweep.facts, finding)
        after = look.summary(with_values(self.sweep.facts, values), finding)
        if before.settled is not None:
            return after.settled != before.settled
        return after.seen != before.seen

    def _toward(self, finding: str, deposit: str, settled: str | None) -> Values:
        """Return the open answers that speak most for a deposit, few against a settled one."""
        fact, specimen = self.sweep.fact(finding), self.sweep.facts[0]
        found: list[tuple[float, Place, str]] = []
        for question, lead, answer in self._leads(deposit, settled):
            of_finding = question in self.likelihood.questions
            place = (finding if of_finding else SPECIMEN, question)
            fields = fact.fields if of_finding else specimen.fields
            if fields[question] == UNKNOWN and place not in self.sweep.declined:
                found.append((lead, place, answer))
        found.sort(key=lambda item: (-item[0], item[1]))
        most = len(found) if settled is None else SURPRISES
        return {place: answer for _, place, answer in found[:most]}

    def _leads(self, deposit: str, settled: str | None) -> tuple[Lead, ...]:
        """Return each question with its answer that favours a deposit most over a settled one."""
        key = (deposit, settled)
        kept = self.likelihood.leads
        if key not in kept:
            found = []
            for question in self.likelihood.telling:
                answers = self.likelihood.knowledge.questions[question].answers
                best = max((self._lead(question, a.id, deposit, settled), a.id) for a in answers)
                if best[0] > 0:
                    found.append((question, *best))
            kept[key] = tuple(found)
        return kept[key]

    def _lead(self, question: str, answer: str, deposit: str, settled: str | None) -> float:
        gain = self.likelihood.weight(question, answer, deposit)
        if settled is not None and gain >= 0:
            gain -= self.likelihood.weight(question, answer, settled)
        return gain
