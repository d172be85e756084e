"""The outline of many slightly different cases: what-if at the price of what differs.

The consultation is that of ``many``, the ladders and their order are those of the planner; tests
hold each outline equal to the skeleton that forward chaining gives for the same changed case.
"""

from __future__ import annotations

from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import facts_from
from triage.engine.consult import Consultant
from triage.engine.facts import Fact
from triage.engine.many import Drawn, Many
from triage.engine.recognition import Summary
from triage.exposure.day import DayLedger
from triage.plan.airjudge import AirJudge
from triage.plan.ladder import BenchBars, Rulings, rulings
from triage.plan.skeleton import Key, Outline, Work


class Supposing(Work):
    """The work behind hypothetical cases, which differ in answers only."""

    def __init__(self, case: Case, bars: BenchBars) -> None:
        super().__init__(case, bars)
        self.seen: dict[Key, Outline] = {}
        # What was seen first with each specimen fact, by its identity.
        self.bases: dict[int, tuple[Drawn[Rulings], Outline]] = {}


class Lookahead:
    """Gives the outline of a case and of its variants on one bench and day.

    ``many`` is shared by look-aheads on several benches.
    """

    def __init__(
        self,
        consultant: Consultant,
        bench: Bench,
        judge: AirJudge | None = None,
        *,
        many: Many[Rulings] | None = None,
    ) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.bench = bench
        self.judge = judge or AirJudge(self.knowledge, bench, DayLedger())
        self.many = many or Many(consultant, rulings)
        self.bars = BenchBars(self.knowledge, bench, self.judge)

    def on_bench(self, bench: Bench) -> Lookahead:
        """Return the look-ahead on another bench; what the bench cannot change is shared."""
        return Lookahead(self.consultant, bench, self.judge.beside(bench), many=self.many)

    def facts(self, case: Case) -> tuple[Fact, ...]:
        """Return the facts of a case on this bench, to be varied with ``with_values``."""
        return facts_from(case, self.bench, self.consultant.vocabulary)

    def work(self, case: Case) -> Supposing:
        """Return the work behind a case and its variants."""
        return Supposing(case, self.bars)

    def of_case(self, case: Case) -> Outline:
        """Return the outline of a case as it stands."""
        return self.outline(self.facts(case), self.work(case))

    def summary(self, facts: tuple[Fact, ...], finding: str) -> Summary:
        """Return what recognition says about one finding of a case with these facts."""
        fact = next(fact for fact in facts if fact.key == finding)
        reader = self.many.reader
        return reader.finding(fact, facts[0], facts[1], reader.several(facts))

    def outline(self, facts: tuple[Fact, ...], work: Supposing) -> Outline:
        """Return the outline of a case with these facts and this work behind it.

        Facts come as ``facts_from`` gives them: the specimen, the bench, the findings.
        """
        base = work.bases.get(id(facts[0]))
        near = base[0] if base else None
        drawn = self.many.drawn(facts, work.closed, near)
        if base is not None and drawn is near:
            return base[1]
        settled = tuple([each.settled for each in drawn.read])
        key = (drawn.gates, settled, drawn.states, drawn.pieces)
        found = work.seen.get(key)
        if found is None:
            found = work.seen[key] = work.outline(*key)
        if base is None:
            work.bases[id(facts[0])] = drawn, found
        return found
