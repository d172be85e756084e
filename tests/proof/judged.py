"""The kinds of bench of the sweep with what each of them comes to, worked out once.

The air of every method on a bench costs more than anything else of a start, and it depends on the
bench and the knowledge alone.
"""

from __future__ import annotations

from collections.abc import Mapping

from triage.case.profile import Bench
from triage.engine.consult import Consultant
from triage.exposure.day import DayLedger
from triage.plan.ladder import BenchBars
from triage.plan.planner import Planner


class JudgedBenches:
    """For each bench by name: a planner, its judge of the air, the methods the bench rules out."""

    def __init__(self, consultant: Consultant, benches: Mapping[str, Bench]) -> None:
        self.consultant = consultant
        knowledge = consultant.knowledge
        self.planners = {name: Planner(consultant) for name in benches}
        self.judges = {
            name: self.planners[name].judge(bench, DayLedger()) for name, bench in benches.items()
        }
        # What the bench itself rules out, air limits included, among all methods.
        self.bars = {
            name: frozenset(
                bar.method
                for bar in BenchBars(knowledge, bench, self.judges[name]).of(knowledge.methods)
            )
            for name, bench in benches.items()
        }

    def of(self, consultant: Consultant) -> JudgedBenches:
        """Return these benches, held to be those of a rulebase.

        Raises
        ------
        ValueError: they were judged with another one.
        """
        if self.consultant is not consultant:
            raise ValueError("these benches were judged with another rulebase")
        return self
