"""What the plan of one combination comes to, found once for all combinations that are the same.

The plan of a combination follows from what the rules conclude about its finding. Combinations
about which they conclude the same share one skeleton, made by the planner itself; a test holds
such scenes against skeletons made one by one.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace
from typing import NamedTuple

from tests.proof.axes import FINDING, HYDRATION, Axes, Combination
from tests.proof.drawn import Drawer
from triage.case.profile import Bench
from triage.engine.consult import Conclusions, Consultant
from triage.exposure.day import DayLedger
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.ladder import BenchBars, Ladder
from triage.plan.planner import Planner
from triage.plan.skeleton import Skeleton, SkeletonMaker

Key = tuple[object, ...]


class Scene(NamedTuple):
    """One combination at one bench, as far as the safety of its plan goes.

    ``forbidden`` holds all methods that an interlock forbids on the finding, ``bench_bars`` those
    that the bench rules out; what comes after them is shared by scenes with the same skeleton.
    """

    knowledge: Knowledge
    combination: Combination
    bench: Bench
    is_soft: bool
    fragility: str
    forbidden: frozenset[str]
    bench_bars: frozenset[str]
    skeleton: Skeleton
    ladder: Ladder
    steps: tuple[str, ...]
    finding_steps: tuple[str, ...]
    barred: frozenset[str]
    walk_key: object

    @property
    def where(self) -> tuple[str, str]:
        """Return the combination in words, and the bench."""
        return self.combination.words(), self.bench.name

    @property
    def settled(self) -> str | None:
        """Return the deposit that the finding is settled to be."""
        return self.ladder.problem

    def ruled_out(self, methods: Iterable[str]) -> set[str]:
        """Return those of some methods that an interlock, the bench or the ladder rules out."""
        barred = (self.forbidden, self.bench_bars, self.barred)
        return {m for m in methods if any(m in each for each in barred)}


class JudgedBenches:
    """For each bench by name: a planner, its judge of the air, the methods the bench rules out.

    Worked out once: the air of every method on a bench costs more than anything else of a start,
    and it depends on the bench and the knowledge alone.
    """

    def __init__(self, consultant: Consultant, benches: Mapping[str, Bench]) -> None:
        self.consultant, knowledge = consultant, consultant.knowledge
        self.planners = {name: Planner(consultant) for name in benches}
        self.judges = {n: self.planners[n].judge(b, DayLedger()) for n, b in benches.items()}
        # What the bench itself rules out, air limits included, among all methods.
        self.bars = {
            name: frozenset(
                bar.method for bar in BenchBars(knowledge, bench, judge).of(knowledge.methods)
            )
            for (name, bench), judge in zip(benches.items(), self.judges.values(), strict=True)
        }


class SceneMaker:
    """Makes scenes; keeps one skeleton for each different outcome of the rules.

    ``judged`` holds the benches of the axes, and may hold more; None judges them now.
    """

    def __init__(
        self, consultant: Consultant, axes: Axes, judged: JudgedBenches | None = None
    ) -> None:
        self.consultant = consultant
        self.knowledge = consultant.knowledge
        self.axes = axes
        self.drawer = Drawer(consultant, axes)
        self.maker = SkeletonMaker(consultant)
        self.benches = axes.benches
        self.judged = judged or JudgedBenches(consultant, self.benches)
        if self.judged.consultant is not consultant:
            raise ValueError("these benches were judged with another rulebase")
        self.judges, self.bars = self.judged.judges, self.judged.bars
        self._skeletons: dict[Key, Scene] = {}

    def scenes(self, combination: Combination) -> Iterator[Scene]:
        """Yield the scene of a combination at each bench."""
        for control in self.drawer.benches:
            yield from self.scenes_at(combination, control)

    def scenes_at(self, combination: Combination, control: str) -> Iterator[Scene]:
        """Yield the scenes of a combination at the benches with one control of the air."""
        drawn = self.drawer.of(combination)[control]
        forbid, offered = drawn.said[Family.FORBID], drawn.said[Family.OFFER].methods
        for name, bench in self.benches.items():
            if bench.room.control != control:
                continue
            bars = self.bars[name]
            key: Key = (
                # Beside work on the whole specimen the rank of the zone counts; alone it does not.
                combination.zone if drawn.states else "",
                drawn.settled,
                drawn.states,
                *[drawn.said[f].number for f in (Family.GATE, Family.OFFER, Family.ORDER)],
                # Only what rules out a method that is offered can change the skeleton.
                forbid.methods & offered,
                forbid.whole & offered,
                bars & offered,
            )
            kept = self._skeletons.get(key)
            if kept is None:
                kept = self._skeletons[key] = self._made(combination, name)
            yield kept._replace(
                combination=combination,
                bench=bench,
                is_soft=combination.hydration == self.axes.base[HYDRATION],
                fragility=self.drawer.grades[drawn.grade],
                forbidden=forbid.methods,
                bench_bars=bars,
            )

    def _made(self, combination: Combination, name: str) -> Scene:
        """Make the skeleton of a new outcome with the consultation and the planner themselves.

        What is of this combination and bench alone is not told yet.
        """
        case, bench = self.axes.case(combination), self.benches[name]
        found = trimmed(self.consultant.consult(case, bench, plain=True))
        made = self.maker.from_conclusions(case, bench, self.judges[name], found)
        ladder = made.ladder(FINDING)
        return Scene(
            self.knowledge,
            combination,
            bench,
            is_soft=False,
            fragility="",
            forbidden=frozenset(),
            bench_bars=frozenset(),
            skeleton=made,
            ladder=ladder,
            steps=tuple(item.method for item in made.items),
            finding_steps=tuple(i.method for i in made.items if i.target == FINDING),
            barred=frozenset(bar.method for bar in ladder.barred),
            walk_key=(
                made.stage,
                bool(made.refused),
                ladder.rungs,
                ladder.offered,
                tuple(item.step for item in made.items if item.target == FINDING),
            ),
        )


def trimmed(found: Conclusions) -> Conclusions:
    """Return conclusions whose interlocks name only methods that something offers.

    The others would do nothing but fill the list of exclusions.
    """
    offered = {method for c in found.of(Family.OFFER, "offer") for method in c.get("method")}
    forbids = []
    for conclusion in found.of(Family.FORBID):
        methods = tuple(m for m in conclusion.get("method", ()) if m in offered)
        if methods:
            kept = [f for f in conclusion.fields if f[0] != "method"]
            fields = tuple(sorted([*kept, ("method", methods)], key=lambda field: field[0]))
            forbids.append(replace(conclusion, fields=fields))
    return replace(found, by_family={**found.by_family, Family.FORBID: tuple(forbids)})
