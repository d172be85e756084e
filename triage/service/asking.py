"""One visit to a finding: what is asked now, what is put again, and what is said at the end."""

from __future__ import annotations

from dataclasses import dataclass, field

from triage.engine.casefacts import SPECIMEN
from triage.explain.sureplan import Agenda
from triage.knowledge.book import Knowledge
from triage.plan.ladder import harshness_key
from triage.plan.model import FindingLine, Plan, QuestionLine
from triage.show.words import sentence

ENOUGH = "Enough is known here: no answer about this would change the next step now."
NOTHING = "Nothing is left to ask here."
NOT_TOLD = "What it is cannot be told yet."
# As many as are looked for at a time.
MOST_LOOKED_FOR = 2


@dataclass
class Visit:
    """The questions of one visit.

    ``asked`` was answered, or could not be told, on this visit; ``again`` is put again after going
    back; ``declined`` are the (specimen or finding, question) that could not be told; ``first`` is
    asked first, whatever it is worth.
    """

    first: str | None = None
    agenda: Agenda = field(default_factory=lambda: Agenda((), ()))
    asked: list[QuestionLine] = field(default_factory=list)
    again: list[QuestionLine] = field(default_factory=list)
    declined: frozenset[tuple[str, str]] = frozenset()
    asks_the_rest: bool = False
    is_settled: bool = False

    def left(self) -> Agenda:
        """Return what was not asked on this visit."""
        return self.agenda.without({(q.finding, q.question) for q in self.asked})

    def next(self, finding: str | None, line: FindingLine | None) -> QuestionLine | None:
        """Return what is to be asked now, None when enough is known.

        What cannot change the next step is asked only of a finding of which nothing is known, or
        on demand: no question follows where enough is known.
        """
        if self.again:
            return self.again.pop(0)
        left = self.left().about(finding)
        named = [q for q in left.all if q.question == self.first]
        self.first = None
        if named:
            return named[0]
        if not left.worth and not self.asked and line is not None and line.standing == "open":
            self.asks_the_rest = True
        if self._is_newly_settled(line):
            return None
        waiting = left.all if self.asks_the_rest else left.worth
        return waiting[0] if waiting else None

    def _is_newly_settled(self, line: FindingLine | None) -> bool:
        """Return whether the last answer settled the finding: said once, the user decides."""
        was, self.is_settled = self.is_settled, line is not None and line.standing == "settled"
        return self.is_settled and not was and bool(self.asked)

    def end_words(self, plan: Plan, line: FindingLine | None, knowledge: Knowledge) -> list[str]:
        """Return what is said when enough is known: the first sentence, and what comes next."""
        step = plan.next_step()
        told = [f"Next step now: {step.name}."] if step is not None else []
        if line is not None and line.standing != "settled":
            is_here = step is not None and step.finding == line.id
            meanwhile = told if is_here else [_harmless(knowledge)]
            return [NOT_TOLD, *meanwhile, *self._look_next(line.id)]
        left = self.left().about(line.id if line else None)
        if line is not None and left.worth:
            return [f"Settled: {line.deposit_name}.", *told]
        looked = self._look_next(SPECIMEN) if line is None else []
        meanwhile = told if told or not looked else [_harmless(knowledge)]
        return [ENOUGH if left.rest else NOTHING, *meanwhile, *looked]

    def _look_next(self, finding: str) -> list[str]:
        """Return what to look for, the questions first that were asked first."""
        untold = [q for q in self.asked if place_of(q) in self.declined]
        untold = [q for q in untold if place_of(q)[0] == finding]
        looked = [f"- {q.ask} {sentence(q.how)}" for q in untold[:MOST_LOOKED_FOR]]
        return ["Look for next:", *looked] if looked else []


def place_of(question: QuestionLine) -> tuple[str, str]:
    """Return (specimen or finding, question)."""
    return (question.finding or SPECIMEN, question.question)


def _harmless(knowledge: Knowledge) -> str:
    """Return the mildest of what may be done while nobody knows what it is."""
    mildest = min(
        (m for m in knowledge.methods if knowledge.methods[m].harmless),
        key=harshness_key(knowledge),
    )
    return f"Harmless meanwhile: {knowledge.methods[mildest].name}."
