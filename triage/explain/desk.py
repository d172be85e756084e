"""Every question a user may put to the plan, as one service; nothing is recorded."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Protocol

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import SPECIMEN, TAXON
from triage.engine.consult import Consultant
from triage.errors import TriageError, did_you_mean
from triage.explain.counterfactual import Counterfactual, Searching
from triage.explain.likelihood import Likelihood
from triage.explain.nextquestion import NextQuestion, ranked_questions
from triage.explain.node import Node
from triage.explain.sureplan import Agenda, Firmness, SurePlan, agenda, firmness_of
from triage.explain.sweep import Lookahead, Place, Sweep
from triage.explain.whatif import WhatIf, compare
from triage.explain.whynot import Against
from triage.exposure.day import DayLedger
from triage.plan.model import Plan, QuestionLine
from triage.plan.names import RECORD, own_record
from triage.plan.planner import Planner
from triage.plan.questions import is_put, waited_for


class Shop(Protocol):
    """What the desk needs of a workshop."""

    bench: Bench
    consultant: Consultant
    planner: Planner

    def day(self) -> DayLedger:
        """Return what the attempts of the last 24 hours released."""

    def plan(self, case: Case) -> Plan:
        """Return the plan of a case."""

    def with_answer(
        self, case: Case, finding: str | None, question: str, answer: str | None
    ) -> Case:
        """Return the case with an answer, without recording it."""


class ExplainDesk:
    """Answers why, why not, what if, what would change it, and what to ask next.

    One look-ahead is kept for the bench and day in use, so that repeated questions are quick.
    """

    def __init__(self, shop: Shop) -> None:
        self.shop = shop
        self.knowledge = shop.consultant.knowledge
        self.likelihood = Likelihood(shop.consultant)
        self._look: Lookahead | None = None
        # Of the case at hand, by what is not asked again.
        self._sweeps: dict[frozenset[Place], Sweep] = {}
        self._asked: dict[frozenset[Place], tuple[NextQuestion, ...]] = {}

    def look(self) -> Lookahead:
        """Return the look-ahead for the bench and the day as they are now."""
        bench, day = self.shop.bench, self.shop.day()
        if self._look is None or (self._look.bench, self._look.judge.day) != (bench, day):
            many = self._look.many if self._look else None
            # The planner keeps the judge of this bench and day: its air is worked out once.
            judge = self.shop.planner.judge(bench, day)
            self._look = Lookahead(self.shop.consultant, bench, judge, many=many)
            self._sweeps, self._asked = {}, {}
        return self._look

    def sweep(self, case: Case, declined: Iterable[tuple[str, str]] = ()) -> Sweep:
        """Return the answers of a case that could be otherwise, with their outlines.

        ``declined`` are (``specimen`` or finding, question) pairs answered "cannot tell".
        """
        look, gone = self.look(), frozenset(declined)
        before = next(iter(self._sweeps.values()), None)
        if before is not None and before.case != case:
            self._sweeps, self._asked = {}, {}
        if gone not in self._sweeps:
            self._sweeps[gone] = Sweep(look, case, gone, before)
        return self._sweeps[gone]

    def trail(self, case: Case) -> Against:
        """Return the explained skeleton of a case, made by forward chaining; it says why not."""
        look = self.look()
        skeleton = self.shop.planner.maker.skeleton(case, look.bench, look.judge)
        return Against(self.shop.consultant, case, look.bench, look.judge, skeleton)

    # -- why -----------------------------------------------------------------------

    def why(self, case: Case, step: str | None = None) -> tuple[Node, ...]:
        """Return why the steps stand where they do; one if named, else the next one.

        Without any step the holds, the closed gates and what is ruled out answer.
        """
        trail = self.trail(case)
        items = {item.step: item for item in reversed(trail.skeleton.items)}
        if step is None and not items:
            return trail.stops()
        wanted = step or trail.skeleton.items[0].step
        if wanted not in items:
            mend = did_you_mean(wanted, [item.step for item in trail.skeleton.items])
            raise TriageError(f'no step "{wanted}" in the plan', mend=mend)
        node = trail.step(items[wanted])
        # How often its method worked on this bench.
        planned = self.shop.plan(case).step(wanted)
        record = own_record(planned) if planned else ""
        told = (Node("note", f"{RECORD}{record}"),) if record else ()
        return (replace(node, children=(*node.children, *told)),)

    def how(self, case: Case, finding: str) -> tuple[Node, ...]:
        """Return how a finding is read: each candidate with the evidence for and against it."""
        case.finding(finding)
        trail = self.trail(case)
        readings = trail.conclusions.readings_of(finding)
        return tuple(trail.reading(r) for r in readings if r.evidence or r.certainty > 0)

    # -- what if -------------------------------------------------------------------------------

    def what_if(self, case: Case, answers: Mapping[str, str], finding: str | None = None) -> WhatIf:
        """Return the plan as it is and as it would be with other answers; nothing is recorded.

        ``unknown`` takes an answer back. A question about the whole specimen may stand beside
        those of a finding.
        """
        changed = case
        about = {q.id: q.about for q in self.knowledge.questions.values()}
        for question, answer in answers.items():
            whose = None if about.get(question) == "specimen" or question == TAXON else finding
            if whose is None and about.get(question) == "zone":
                raise TriageError(f"{question} is asked of a finding", mend="name one (--finding)")
            value = None if answer == "unknown" else answer
            changed = self.shop.with_answer(changed, whose, question, value)
        return compare(self.shop.plan(case), self.shop.plan(changed))

    def changes(self, case: Case) -> tuple[Counterfactual, ...]:
        """Return every smallest change of answers, bench or attempts that changes the next step."""
        sweep = self.sweep(case)
        offered = {method for ladder in sweep.base.ladders for method in ladder.offered}
        return Searching(sweep, offered).smallest()

    # -- what to ask, and how sure -------------------------------------------------------------

    def questions(
        self, case: Case, declined: Iterable[tuple[str, str]] = ()
    ) -> tuple[NextQuestion, ...]:
        """Return the questions that could still change the next step, the best first."""
        plan = self.shop.plan(case)  # first: what is wrong in the file is said with its line
        gone = {*declined, *((test.finding, test.question) for test in plan.untested)}
        sweep = self.sweep(case, gone)
        if sweep.declined not in self._asked:
            self._asked[sweep.declined] = ranked_questions(sweep, self.likelihood)
        known = {(q.line.finding, q.line.question): q for q in self._asked[sweep.declined]}
        waited = waited_for(self.knowledge, plan)
        lines = [q for q in waited if (q.finding or SPECIMEN, q.question) not in gone]
        first = {
            (q.finding, q.question): NextQuestion(q, 0.0, len(lines), 0.0, q.because) for q in lines
        }
        ordered = {**first, **known}.values()
        return tuple(each for each in ordered if self._is_put(case, each.line))

    def agenda(self, case: Case, declined: Iterable[Place] = ()) -> Agenda:
        """Return all that is to be asked: what could change the next step first."""
        return agenda(self._put(case), self.questions(case, declined))

    def _is_put(self, case: Case, line: QuestionLine) -> bool:
        """Return whether group, place, record and earlier answers leave a question to be put."""
        given = case.finding(line.finding).signs if line.finding else {}
        is_idle = line.question not in given and self.likelihood.is_idle(line.question, given)
        return is_put(self.knowledge, case, line.finding, line.question) and not is_idle

    def _put(self, case: Case) -> Plan:
        """Return the plan with only those questions that are left to be put."""
        plan = self.shop.plan(case)
        return replace(plan, questions=tuple(q for q in plan.questions if self._is_put(case, q)))

    def firmness(self, case: Case) -> tuple[Firmness, ...]:
        """Return for each step whether it is firm, or which open question could move it."""
        return firmness_of(self.sweep(case), self.questions(case))

    def sure_plan(self, case: Case) -> SurePlan:
        """Return the plan with how firm each step is, its questions in the order of their value."""
        plan = self._put(case)  # first: what is wrong in the file is said with its line
        firmness = self.firmness(case)
        return SurePlan(replace(plan, questions=self.agenda(case).all), firmness)
