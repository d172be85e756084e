"""What the tests of explanations share: explained skeletons, and an independent list of firings."""

from dataclasses import dataclass
from functools import cache, partial
from types import SimpleNamespace
from typing import Any

from tests.support.case_gen import drawn
from tests.support.knowledge import DEMO, consultant, demo_bench, planner, shipped
from triage.case.models import Case
from triage.case.profile import Bench
from triage.case.store import load_case
from triage.engine.facts import Conclusion, Fact
from triage.engine.vocabulary import UNKNOWN
from triage.explain.desk import ExplainDesk
from triage.explain.likelihood import Likelihood
from triage.explain.sweep import Change, Lookahead, Sweep
from triage.explain.trail import Trail
from triage.explain.whynot import Against
from triage.exposure.day import DayLedger
from triage.knowledge.rules import FAMILIES, Family
from triage.plan.airjudge import AirJudge
from triage.plan.model import Plan
from triage.plan.skeleton import Outline, SkeletonMaker
from triage.service.workshop import Workshop


@cache
def _first_look() -> Lookahead:
    return Lookahead(consultant(), Bench())


@cache
def _look(control: str, circumstances: tuple[str, ...]) -> Lookahead:
    bench = Bench(room={"control": control}, circumstances=circumstances)
    return _first_look().on_bench(bench)


def look_on(bench: Bench) -> Lookahead:
    """Return a look-ahead for a bench, kept for benches that say only control and circumstances."""
    plain = Bench(room={"control": bench.room.control}, circumstances=bench.circumstances)
    if bench == plain:
        return _look(bench.room.control, bench.circumstances)
    return _first_look().on_bench(bench)


@cache
def likelihood() -> Likelihood:
    return Likelihood(consultant())


def demo_cases() -> list[tuple[Case, Bench]]:
    return [(load_case(path), demo_bench()) for path in DEMO]


def drawn_case(seed: int) -> tuple[Case, Bench]:
    return drawn(consultant(), seed)


def sweep_of(case: Case, bench: Bench) -> Sweep:
    return Sweep(look_on(bench), case)


@cache
def maker() -> SkeletonMaker:
    return SkeletonMaker(consultant())


def open_outlines(sweep: Sweep) -> list[tuple[Change, Outline]]:
    """Return every answer that a question not answered yet could still get, with its outline."""
    return [
        (
            Change(
                "answer", None if fact.kind == "specimen" else fact.key, question, UNKNOWN, after
            ),
            sweep.outline({(fact.key, question): after}),
        )
        for fact, question, afters in sweep.open_places()
        for after in afters
    ]


def trail_of(case: Case, bench: Bench) -> Against:
    """Return the explained skeleton, made by forward chaining in experta."""
    judge: AirJudge = look_on(bench).judge
    return Against(consultant(), case, bench, judge, maker().skeleton(case, bench, judge))


def desk_on(bench: Bench) -> ExplainDesk:
    """Return the desk of a workshop that keeps no cases."""
    known = {"bench": bench, "consultant": consultant(), "knowledge": shipped()}
    plan = partial(planner().plan, bench=bench)
    shop: Any = SimpleNamespace(**known, planner=planner(), day=DayLedger, plan=plan)
    shop.with_answer = partial(Workshop.with_answer, shop)
    return ExplainDesk(shop)


def plan_of(case: Case, bench: Bench) -> Plan:
    return planner().plan(case, bench, DayLedger())


@dataclass
class Fired:
    """What fired, worked out a second time by the evaluator that shares no index."""

    by_family: dict[Family, set[Conclusion]]
    facts: tuple[Fact, ...]

    def of(self, family: Family, kind: str) -> set[Conclusion]:
        return {c for c in self.by_family[family] if c.kind == kind}

    def firings(self) -> set[tuple[str, tuple[str, ...]]]:
        return {(c.rule, c.facts) for found in self.by_family.values() for c in found}


def fired(trail: Trail) -> Fired:
    """Evaluate every family anew over the facts that it may see."""
    facts = trail.conclusions.facts
    seen = {
        Family.RECOGNISE: ("specimen", "bench", "finding"),
        Family.GATE: ("specimen", "bench", "finding", "reading", "state"),
    }
    by_family = {}
    for family in FAMILIES:
        kinds = seen.get(family)
        visible = tuple(f for f in facts if kinds is None or f.kind in kinds)
        by_family[family] = set(consultant().run_unindexed(family, visible))
    return Fired(by_family, facts)
