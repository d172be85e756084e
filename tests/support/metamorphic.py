"""Cases and benches changed in one respect, and what two plans may differ in after it."""

import copy
import random
from collections.abc import Callable
from dataclasses import replace
from functools import lru_cache
from typing import Any

from tests.support.builders import OILY, case_with, full_bench
from tests.support.case_gen import drawn
from tests.support.knowledge import consultant, planner, shipped
from triage.case.changes import new_finding
from triage.case.models import Case, Finding
from triage.case.profile import Bench, Refused, Stock
from triage.engine.normal import NormalRules, Pattern
from triage.engine.reading import HAZARD
from triage.engine.vocabulary import UNKNOWN
from triage.knowledge.rules import Family
from triage.plan.model import Plan
from triage.plan.planner import Planner

Pair = tuple[str | None, str]
DEPOSIT = "deposit"
# Question -> its answers from harmless to hazardous, by what each says of the specimen (and not by
# what the rules make of it). Where no order is meant by the words themselves the question is left
# out: a dry specimen is not more hazardous than a wet one, but hazardous in another way.
WORSE = {
    "whole": ("whole", "parts-loose"),
    "lacquered": ("no", "yes"),
    "old-poison-signs": ("no", "yes"),
    "age": ("since-1990", "before-1990"),
    "live-pest-signs": ("no", "yes"),
    "urticating-hairs": ("no", "yes"),
    "mouldy-smell": ("no", "yes"),
    "cracks": ("none", "hairline", "open"),
    "missing-parts": ("none", "few", "many"),
    "pest-holes": ("none", "some", "many"),
    "old-ethanol-strong": ("no", "yes"),
    "relaxed-before": ("never", "once", "more"),
    "pin": ("steel-stainless", "brass"),
    "pollen-wanted": ("no", "yes"),
    "box-held": ("none", "moth-balls"),
}


def generated(seed: int) -> tuple[Case, Bench]:
    """Return a drawn case on a drawn bench that is better equipped than a bare one."""
    case, bench = drawn(consultant(), seed)
    rng = random.Random(f"bench {seed}")
    knowledge = shipped()
    stock = tuple(Stock(agent=a, strength=rng.choice((None, 70.0))) for a in knowledge.agents)
    room: dict[str, Any] = {"volume_m3": rng.choice((None, 20.0, 60.0))}
    room["air_changes_per_h"] = rng.choice((None, 1.0, 6.0))
    made = {
        "stock": stock,
        "equipment": tuple(e for e in knowledge.equipment if rng.random() < 0.9),
        "room": bench.room.model_copy(update=room),
        "margin": rng.choice((None, 0.5, 1.0)),
        "judge_by": rng.choice(("most-protective", *sorted(judging(knowledge)))),
    }
    return case, bench.model_copy(update=made)


def chemical(seed: int) -> tuple[Case, Bench]:
    """Return a sound, sturdy specimen with grease or wax on it: work for which agents are planned."""
    rng = random.Random(f"chemical {seed}")
    zone = rng.choice(("elytra", "thorax-hard", "abdomen-hard", "head-hard", "leg", "thorax-hairy"))
    zone = zone if zone in shipped().zones else "elytra"
    case = case_with(rng.choice(("beetles", "true-bugs", "bees-wasps")), zone, OILY)
    room = {
        "control": rng.choice(("none", "window", "extraction", "hood", UNKNOWN)),
        "volume_m3": rng.choice((12.0, 30.0, 80.0)),
        "air_changes_per_h": rng.choice((0.3, 1.0, 6.0)),
    }
    bench = full_bench(**room)
    judge_by = rng.choice(("most-protective", *sorted(judging(shipped()))))
    return case, bench.model_copy(update={"judge_by": judge_by})


def dusty(seed: int) -> tuple[Case, Bench]:
    """Return an old dry specimen with loose dust at a window: what may be done the bench decides."""
    rng = random.Random(f"dusty {seed}")
    zone = rng.choice(("elytra", "thorax-hard", "abdomen-hard", "head-hard"))
    told = {"age": "before-1990", "hydration": "dry", "arrival": "set-on-pin"}
    group = rng.choice(("beetles", "true-bugs"))
    case = case_with(group, zone, {"puff": "moves"}, named="loose-dust", **told)
    return case, at_control(full_bench(), "window", "mask", "control")


def shaky(seed: int) -> tuple[Case, Bench]:
    """Return a dusty, greasy specimen, emptied once, of which it is not told what it is worth."""
    zone = random.Random(f"shaky {seed}").choice(("elytra", "head-hard", "abdomen-hard"))
    case = case_with("beetles", zone, {"puff": "moves"}, named="loose-dust", whole="emptied-or-cut")
    answers = {q: a for q, a in case.answers.items() if q != "worth-it"}
    findings = (*case.findings, new_finding("f2", "thorax-hard", signs=OILY))
    case = case.model_copy(update={"findings": findings})
    return with_answers(case, answers), full_bench()


def at_one_place() -> set[str]:
    """Return what the rule that waits for a look for cracks leaves: it touches one place at most."""
    (said,) = consultant().rule("forbid-acting-before-cracks-are-known").templates
    return set(shipped().methods) - set(dict(said.constants)["method"])


def at_control(bench: Bench, control: str, *kinds: str) -> Bench:
    """Return a bench with a control of the air and no tool that counts as some kinds of it."""
    counts = {name: tool.counts.keys() for name, tool in shipped().equipment.items()}
    tools = tuple(tool for tool in bench.equipment if not counts[tool] & {*kinds})
    room = bench.room.model_copy(update={"control": control})
    return bench.model_copy(update={"room": room, "equipment": tools})


def judging(knowledge: Any) -> set[str]:
    return {limit.authority for agent in knowledge.agents.values() for limit in agent.limits}


def with_answers(case: Case, answers: dict[str, str]) -> Case:
    return case.model_copy(update={"answers": type(case.answers)(answers)})


def with_finding(case: Case, place: int, **fields: Any) -> Case:
    findings = list(case.findings)
    findings[place] = findings[place].model_copy(update=fields)
    return case.model_copy(update={"findings": tuple(findings)})


def made(case: Case, bench: Bench, by: Planner | None = None) -> Plan:
    return (by or planner()).plan(case, bench)


def blocked(plan: Plan) -> set[Pair]:
    """Return every (finding, method) that the plan rules out for a reason of its own."""
    return {(e.finding, e.method) for e in plan.excluded}


def interlocked(plan: Plan) -> set[Pair]:
    return {(e.finding, e.method) for e in plan.excluded if e.interlock}


def allowed(plan: Plan) -> set[Pair]:
    return {(finding, s.method) for s in plan.steps for finding in s.findings or (None,)}


def acting(pairs: set[Pair]) -> set[Pair]:
    """Return what works on a finding and is not harmless for all that it could be."""
    methods = shipped().methods
    return {(f, m) for f, m in pairs if f is not None and not methods[m].harmless}


def reading(plan: Plan, finding: str | None) -> Any:
    """Return what a finding is taken to be, as far as interlocks look at it."""
    for line in plan.findings:
        if line.id == finding:
            return (line.deposit, line.standing, line.alternatives)
    return None


def hazard_added(case: Case, rng: random.Random) -> tuple[str, Case] | None:
    """Return a case with one answer that tells of a greater hazard, and which answer it is."""
    places = [q for q in WORSE if case.answers.get(q, UNKNOWN) in WORSE[q][:-1]]
    if not places:
        return None
    question = rng.choice(places)
    order = WORSE[question]
    worse = rng.choice(order[order.index(case.answers[question]) + 1 :])
    return f"{question}: {worse}", with_answers(case, {**case.answers, question: worse})


def worse_benches(bench: Bench, rng: random.Random) -> list[tuple[str, Bench]]:
    """Return the bench with one thing worse, once for each kind of thing."""
    knowledge = shipped()

    def but(**fields: Any) -> Bench:
        return bench.model_copy(update=fields)

    def aired(changes: float | None) -> Bench:
        return but(room=bench.room.model_copy(update={"air_changes_per_h": changes}))

    agent = rng.choice(sorted(knowledge.agents))
    tool = rng.choice(sorted(knowledge.equipment))
    circumstance = rng.choice(sorted(knowledge.circumstances))
    left = tuple(bottle for bottle in bench.stock if bottle.agent != agent)
    return [
        # A hood among the tools would count although the room has none.
        ("no control", at_control(bench, "none", "control")),
        ("control unknown", at_control(bench, UNKNOWN, "control")),
        ("no air", aired(0.0)),
        ("air unknown", aired(None)),
        (f"no {agent}", but(only_stock=True, stock=left)),
        (f"{agent} refused", but(refused=(*bench.refused, Refused(agent=agent)))),
        (circumstance, but(circumstances=(*bench.circumstances, circumstance))),
        (f"{tool} lacking", but(lacking=(*bench.lacking, tool))),
        ("thin gloves only", but(gloves=("latex",))),
    ]


def stricter(part: float, agents: set[str] | None = None) -> Planner:
    """Return a planner on the shipped rules with the limits of some agents (all: None) lowered."""
    knowledge = shipped()
    lowered = dict(knowledge.agents)
    for name in agents or lowered:
        limits = tuple(
            limit.model_copy(update={"value": limit.value * part}) for limit in lowered[name].limits
        )
        lowered[name] = lowered[name].model_copy(update={"limits": limits})
    other = copy.copy(consultant())
    other.knowledge = replace(knowledge, agents=lowered)
    return Planner(other)


def never_met(kind: str, field: str, value: str) -> Callable[[NormalRules], NormalRules]:
    """Return a break after which one value of a field meets no condition of an interlock."""

    def without(pattern: Pattern) -> Pattern:
        if pattern.kind != kind:
            return pattern
        allowed = dict(pattern.allowed)
        if field in allowed:
            allowed[field] -= {value}
        return replace(pattern, allowed=tuple(allowed.items()))

    def broken(normal: NormalRules) -> NormalRules:
        rules = tuple(
            replace(rule, patterns=tuple(map(without, rule.patterns)))
            for rule in normal.by_family[Family.FORBID]
        )
        return NormalRules(normal.vocabulary, {**normal.by_family, Family.FORBID: rules})

    return broken


def hazard_interlocks(case: Case, bench: Bench) -> set[tuple[str, str]]:
    """Return (rule, reading) of each interlock on a hazard that one sign alone makes suspected."""
    found = consultant().consult(case, bench, plain=True)
    alone, rules = strong_signs(), hazard_rules()
    told = {r.key for r in found.readings if any(e.rule in alone for e in r.evidence)}
    return {
        (conclusion.rule, key)
        for conclusion in found.of(Family.FORBID, "forbid")
        for key in conclusion.facts
        if conclusion.rule in rules and key in told
    }


@lru_cache(maxsize=1)
def hazard_rules() -> frozenset[str]:
    """Return the interlocks that rest on nothing but how far a hazard to people is suspected."""
    return frozenset(
        rule.id
        for rule in consultant().normal.by_family[Family.FORBID]
        # One that also asks what was done about it (isolated and dried) is lifted by that answer.
        if len(rule.patterns) == 1
        for pattern in rule.patterns
        if pattern.kind == "reading"
        and "standing" in dict(pattern.allowed)
        and all(shipped().deposits[d].guard == HAZARD for d in dict(pattern.allowed)[DEPOSIT])
    )


@lru_cache(maxsize=1)
def strong_signs() -> dict[str, tuple[str, str, str]]:
    """Return each rule by which one answer makes a hazard suspected: kind, question, answer."""
    suspected = shipped().judgement.suspected.value
    found = {}
    for rule in consultant().normal.by_family[Family.RECOGNISE]:
        asked = [(p.kind, name, min(values)) for p in rule.patterns for name, values in p.allowed]
        for template in rule.templates:
            told = dict(template.constants)
            if template.kind != "evidence" or len(asked) != 1:
                continue
            hazard = shipped().deposits[told[DEPOSIT]].guard == HAZARD
            if hazard and told["weight"] >= suspected:
                found[rule.id] = asked[0]
    return found


def hazard_told(finding: Finding, rng: random.Random) -> tuple[dict[str, str], dict[str, str]]:
    """Return the signs of a finding and the answers, one of which alone tells of a hazard."""
    kind, question, answer = rng.choice(list(strong_signs().values()))
    if kind == "finding":
        return {**finding.signs, question: answer}, {}
    return dict(finding.signs), {question: answer}


def told_more(case: Case, place: int, rng: random.Random) -> tuple[str, Case]:
    """Return a case with one open question about the specimen or a finding answered, and which."""
    signs = case.findings[place].signs
    open_questions = [
        q
        for q in shipped().questions.values()
        if (signs if q.about == "zone" else case.answers).get(q.id, UNKNOWN) == UNKNOWN
    ]
    question = rng.choice(open_questions)
    answer = rng.choice(question.answers).id
    what = f"{question.id}: {answer}"
    if question.about == "zone":
        more = type(signs)({**signs, question.id: answer})
        return what, with_finding(case, place, signs=more)
    return what, with_answers(case, {**case.answers, question.id: answer})
