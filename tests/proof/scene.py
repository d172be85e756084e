"""What the plan of one combination comes to, found once for all combinations that are the same.

The plan of a combination follows from what the rules conclude about its finding. Combinations
about which they conclude the same share one skeleton, made by the planner itself; a test holds
such scenes against skeletons made one by one.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import NamedTuple

from tests.proof.axes import FINDING, HYDRATION, Axes, Combination
from tests.proof.judged import JudgedBenches
from triage.case.models import Case
from triage.case.profile import Bench
from triage.engine.casefacts import BENCH, facts_from
from triage.engine.consult import Conclusions, Consultant
from triage.engine.facts import Conclusion, Fact
from triage.engine.indexed import RuleIndex
from triage.engine.vocabulary import NONE
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import FAMILIES, Family
from triage.plan.ladder import Ladder
from triage.plan.skeleton import Skeleton, SkeletonMaker

# Families of which nothing later is a fact: what they read of the bench can be worked out apart.
LAST = frozenset({Family.FORBID, Family.OFFER, Family.ORDER})
Key = tuple[object, ...]


class Kept(NamedTuple):
    """One skeleton with what invariants ask of it, kept for all scenes that share it."""

    number: int
    skeleton: Skeleton
    ladder: Ladder
    steps: tuple[str, ...]
    finding_steps: tuple[str, ...]
    barred: frozenset[str]
    walk_key: object


class Scene(NamedTuple):
    """One combination at one bench, as far as the safety of its plan goes.

    ``kept`` is shared by all scenes with the same skeleton, ``forbidden`` holds all methods that
    an interlock forbids on the finding, ``bench_bars`` those that the bench rules out.
    """

    knowledge: Knowledge
    combination: Combination
    bench: Bench
    is_soft: bool
    fragility: str
    kept: Kept
    forbidden: frozenset[str]
    bench_bars: frozenset[str]

    @property
    def skeleton(self) -> Skeleton:
        """Return the plan before its steps are completed."""
        return self.kept.skeleton

    @property
    def ladder(self) -> Ladder:
        """Return the ladder of the finding."""
        return self.kept.ladder

    @property
    def settled(self) -> str | None:
        """Return the deposit that the finding is settled to be."""
        return self.kept.ladder.problem

    @property
    def steps(self) -> tuple[str, ...]:
        """Return the methods that the plan holds now, in order."""
        return self.kept.steps

    @property
    def finding_steps(self) -> tuple[str, ...]:
        """Return those of them that work on the finding."""
        return self.kept.finding_steps

    def ruled_out(self, methods: Iterable[str]) -> set[str]:
        """Return those of some methods that an interlock, the bench or the ladder rules out."""
        return {
            m
            for m in methods
            if m in self.forbidden or m in self.bench_bars or m in self.kept.barred
        }


class _Drawn(NamedTuple):
    """What the rules that do not read the bench conclude about a combination."""

    conclusions: Conclusions
    offered: frozenset[str]
    forbidden: frozenset[str]
    # Those of them that are forbidden everywhere, so also for work on the whole specimen.
    whole: frozenset[str]
    key: int
    fragility: str


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
        self.maker = SkeletonMaker(consultant)
        self.benches = axes.benches
        self.judged = (judged or JudgedBenches(consultant, self.benches)).of(consultant)
        self.judges, self.bars = self.judged.judges, self.judged.bars
        alike: dict[str, list[str]] = {}
        for name, bench in self.benches.items():
            alike.setdefault(bench.room.control, []).append(name)
        self._alike = tuple(alike.values())
        self._last: tuple[Combination, _Drawn] | None = None
        self._case: tuple[Combination, Case] | None = None
        self._keys: dict[Key, int] = {}
        self._skeletons: dict[Key, Kept] = {}
        self._specimens: dict[tuple[str, str, str], Fact] = {}
        self._findings: dict[tuple[str, str], Fact] = {}
        self._bench_facts = {
            name: Fact(BENCH, BENCH, {"control": bench.room.control})
            for name, bench in self.benches.items()
        }
        self._split()

    def _split(self) -> None:
        """Part the rules into those that read the bench and those that do not."""
        self.apart: dict[Family, RuleIndex] = {}
        self.reading: dict[Family, RuleIndex] = {}
        self.separable = True
        self._constant: dict[str, Mapping[Family, tuple[Conclusion, ...]]] = {}
        self._reads_only_bench = True
        for family in FAMILIES:
            rules = self.consultant.normal.by_family[family]
            reading = [r for r in rules if any(p.kind == BENCH for p in r.patterns)]
            if reading and family not in LAST:
                self.separable = self.separable and family is Family.CAUTION
            self._reads_only_bench = self._reads_only_bench and (
                family not in LAST or all(p.kind == BENCH for r in reading for p in r.patterns)
            )
            self.apart[family] = RuleIndex(r for r in rules if r not in reading)
            if reading and family in LAST:
                self.reading[family] = RuleIndex(reading)

    # -- facts --------------------------------------------------------------------------------

    def _facts(self, combination: Combination, name: str) -> tuple[Fact, ...]:
        who = (combination.taxon, combination.floor, combination.hydration)
        what = (combination.deposit, combination.zone)
        if who not in self._specimens or what not in self._findings:
            case = self._case_of(combination)
            facts = facts_from(case, Bench(), self.consultant.vocabulary)
            self._specimens[who], self._findings[what] = facts[0], facts[2]
        return self._specimens[who], self._bench_facts[name], self._findings[what]

    def _case_of(self, combination: Combination) -> Case:
        # The same combination comes for one bench after the other.
        if self._case is None or self._case[0] != combination:
            self._case = combination, self.axes.case(combination)
        return self._case[1]

    # -- conclusions --------------------------------------------------------------------------

    def _draw(self, combination: Combination, name: str) -> _Drawn:
        def run(family: Family, facts: tuple[Fact, ...]) -> tuple[Conclusion, ...]:
            if family is Family.CAUTION:
                return ()
            if not self.separable:
                return self.consultant.run_plain(family, facts)
            return self.apart[family].evaluate(facts)

        facts = self._facts(combination, name)
        conclusions = self.consultant.consult_facts(facts, (), run)
        offers = conclusions.of(Family.OFFER, "offer")
        forbids = conclusions.of(Family.FORBID, "forbid")
        states = tuple(c.get("condition") for c in conclusions.of(Family.RECOGNISE, "state"))
        settled = conclusions.settled(FINDING)
        key: Key = (
            # Beside work on the whole specimen the rank of the zone counts; alone it does not.
            combination.zone if states else "",
            settled.deposit if settled else NONE,
            _said(offers),
            _said(conclusions.of(Family.GATE)),
            _said(conclusions.of(Family.ORDER)),
            states,
        )
        finding = next(f for f in conclusions.facts if f.kind == "finding")
        return _Drawn(
            conclusions,
            _methods(offers),
            _methods(forbids),
            _whole(forbids),
            # A short key is hashed quickly, and it is hashed for each bench.
            self._keys.setdefault(key, len(self._keys)),
            finding.get("fragility"),
        )

    def scenes(self, combination: Combination) -> Iterator[Scene]:
        """Yield the scene of a combination at each bench."""
        drawn: _Drawn | None = None
        for names in self._alike:
            if drawn is None or not self.separable:
                drawn = self._draw(combination, names[0])
            yield from self._scenes(combination, names, drawn)

    def scenes_at(self, combination: Combination, control: str) -> Iterator[Scene]:
        """Yield the scenes of a combination at the benches with one control of the air."""
        names = next(n for n in self._alike if self.benches[n[0]].room.control == control)
        # The same combination comes for one control after the other.
        last, drawn = self._last or (None, None)
        if drawn is None or last != combination or not self.separable:
            drawn = self._draw(combination, names[0])
            self._last = (combination, drawn)
        yield from self._scenes(combination, names, drawn)

    def _scenes(
        self, combination: Combination, names: Sequence[str], drawn: _Drawn
    ) -> Iterator[Scene]:
        """Yield the scenes of benches that have the same control and so the same facts."""
        more = self._more(drawn, names[0]) if self.separable else {}
        offers, orders = more.get(Family.OFFER, ()), more.get(Family.ORDER, ())
        offered = drawn.offered | _methods(offers)
        forbidden = drawn.forbidden | _methods(more.get(Family.FORBID, ()))
        is_soft = combination.hydration == self.axes.base[HYDRATION]
        # Only what rules out a method that is offered for something can change the skeleton.
        whole = drawn.whole | _whole(more.get(Family.FORBID, ()))
        same: Key = (
            drawn.key,
            forbidden & offered,
            whole & offered,
            _said(offers),
            _said(orders),
        )
        for name in names:
            bars = self.bars[name]
            key = (same, bars & offered)
            kept = self._skeletons.get(key)
            if kept is None:
                kept = self._skeletons[key] = self._keep(combination, name, drawn, more)
            yield Scene(
                self.knowledge,
                combination,
                self.benches[name],
                is_soft,
                drawn.fragility,
                kept,
                forbidden,
                bars,
            )

    def _more(self, drawn: _Drawn, name: str) -> Mapping[Family, tuple[Conclusion, ...]]:
        """Return what the rules that read the bench add."""
        bench = self._bench_facts[name]
        control = bench.get("control")
        if control in self._constant:
            return self._constant[control]
        facts = tuple(bench if f.kind == BENCH else f for f in drawn.conclusions.facts)
        found = {family: index.evaluate(facts) for family, index in self.reading.items()}
        if self._reads_only_bench:
            self._constant[control] = found
        return found

    def _keep(
        self,
        combination: Combination,
        name: str,
        drawn: _Drawn,
        more: Mapping[Family, tuple[Conclusion, ...]],
    ) -> Kept:
        """Make the skeleton of a new outcome with the planner itself."""
        found = drawn.conclusions
        families = {f: (*found.of(f), *more.get(f, ())) for f in found.by_family}
        whole = trimmed(Conclusions(found.facts, families, found.readings, found.conflicts))
        made = self.maker.from_conclusions(
            self._case_of(combination), self.benches[name], self.judges[name], whole
        )
        ladder = made.ladder(FINDING)
        return Kept(
            number=len(self._skeletons),
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
    offered = _methods(found.of(Family.OFFER, "offer"))
    forbids = []
    for conclusion in found.of(Family.FORBID):
        methods = tuple(m for m in conclusion.get("method", ()) if m in offered)
        if methods:
            kept = [f for f in conclusion.fields if f[0] != "method"]
            fields = tuple(sorted([*kept, ("method", methods)], key=lambda field: field[0]))
            forbids.append(replace(conclusion, fields=fields))
    return replace(found, by_family={**found.by_family, Family.FORBID: tuple(forbids)})


def _methods(conclusions: Iterable[Conclusion]) -> frozenset[str]:
    return frozenset(m for c in conclusions for m in c.get("method"))


def _whole(forbids: Iterable[Conclusion]) -> frozenset[str]:
    return _methods(c for c in forbids if c.get("finding") is None)


def _said(conclusions: Iterable[Conclusion]) -> tuple[object, ...]:
    return tuple((c.rule, c.kind, c.fields) for c in conclusions)
