"""What must hold of every plan, written from the safety goals: no function of the planner is used.

Each check takes a plan as a user holds it, with the case, the bench and the entries of the rules.
What must hold of one complete step is written once, in ``tests/proof/steps.py``, and checked here too.
"""

import math
from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import asdict, dataclass
from typing import Any

from tests.proof.steps import STEPS, Shown
from triage.case.models import Case
from triage.case.profile import Bench
from triage.errors import CONTROL
from triage.exposure.day import DayLedger
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.knowledge.specimen import STAGES
from triage.plan.model import LimitLine, Plan, Step
from triage.plan.skeleton import DONE

# Vapours that take the wax off lenses and cannot be rinsed out of facets: Macro photographers'
# practice as the zones' own sentences give it, typed here by hand.
NOT_ON_LENSES = {
    *("alcohol", "ester", "ketone", "aliphatic", "aromatic", "terpene", "ether", "siloxane"),
    *("chlorinated", "glycol-ether-e", "glycol-ether-p", "halogenated-other", "acid", "base"),
}
WORST = ("mechanical", "chemical", "person", "lasting")


@dataclass(frozen=True)
class Seen:
    """One plan and all that it was made of."""

    k: Knowledge
    case: Case
    bench: Bench
    day: DayLedger
    plan: Plan
    unread: bool

    def method(self, step: Step) -> Method:
        return self.k.methods[step.method]

    def agents(self, step: Step) -> list[Agent]:
        """Return every agent of a step; of a trial those of the step whose liquid it tries."""
        method = self.method(step)
        of = self.k.methods[step.before] if method.tries_next and step.before else method
        ids = [of.agent] if of.agent else []
        return [self.k.agents[name] for name in (*ids, *(part.agent for part in of.with_))]


Check = Callable[[Seen], Iterable[str]]


def broken(seen: Seen) -> list[str]:
    """Return every promise that a plan breaks, in words."""
    steps = [Shown(seen.k, step) for step in seen.plan.steps]
    of_steps = ((p.name, p.broken(step)) for p in STEPS for step in steps)
    return [
        *(f"{name}: {said}" for name, check in CHECKS.items() for said in check(seen)),
        *(f"{name}: {said}" for name, said in of_steps if said),
    ]


def _each(seen: Seen) -> Iterator[tuple[Step, Agent]]:
    for step in seen.plan.steps:
        for agent in seen.agents(step):
            yield step, agent


def _cleaning(seen: Seen) -> Iterator[tuple[Step, Method]]:
    for step in seen.plan.steps:
        method = seen.method(step)
        if method.stage == "clean" and step.zone in seen.k.zones and not method.tries_next:
            yield step, method


def _limits(seen: Seen) -> Iterator[tuple[Step, LimitLine]]:
    for step in seen.plan.steps:
        for line in step.air.limits if step.air else ():
            yield step, line


def unnamed_mixes(seen: Seen) -> Iterator[str]:
    for step, agent in _each(seen):
        said = " ".join(line.text for line in step.cautions if line.kind == "mixing")
        for used, where in seen.day.used:
            other = seen.k.agents[used]
            named = any(m.with_ in (other.id, other.agent_class) for m in agent.incompatible)
            if named and other.id != agent.id and where not in said:
                yield f"{step.id}: {other.id} was used in {where}"


def too_harsh(seen: Seen) -> Iterator[str]:
    for step, method in _cleaning(seen):
        zone, grades = seen.k.zones[step.zone or ""], method.harshness
        if grades.mechanical.grade > zone.most_mechanical:
            yield f"{step.id} mechanical"
        if grades.chemical.grade > zone.most_chemical:
            yield f"{step.id} chemical"


def down_a_ladder(seen: Seen) -> Iterator[str]:
    worst: dict[str, int] = {}
    for step in seen.plan.steps:
        if step.before is not None or step.finding is None or step.also:
            continue
        now = max(getattr(step.harshness, kind) for kind in WORST)
        if now < worst.get(step.finding, 0):
            yield step.id
        worst[step.finding] = now


def unsettled_work(seen: Seen) -> Iterator[str]:
    states = {line.id: line.standing for line in seen.plan.findings}
    for step in seen.plan.steps:
        loose = step.before is not None or seen.method(step).harmless
        if step.finding and states[step.finding] != "settled" and not loose:
            yield step.id


def too_early(seen: Seen) -> Iterator[str]:
    now = (*STAGES, DONE).index(seen.plan.stage)
    for step in seen.plan.steps:
        # What is done to a dry insect, and its trial, comes before it is softened.
        act = seen.k.methods[step.before or step.method]
        if STAGES.index(step.stage) > now and not act.while_dry:
            yield f"{step.id} {step.stage} in {seen.plan.stage}"


def unheld_harm(seen: Seen) -> set[str]:
    released = {release.attempt for release in seen.case.releases}
    harmed = {a.id for a in seen.case.effective_attempts() if a.outcome in ("worse", "damage")}
    return harmed - released - {hold.attempt for hold in seen.plan.held}


def untried_liquids(seen: Seen) -> Iterator[str]:
    tried = {s.before for s in seen.plan.steps if seen.method(s).tries_next}
    done = {a.agent for a in seen.case.effective_attempts() if a.outcome != "not-done"}
    same = {seen.k.methods[name].agent for name in tried if name}
    for step, method in _cleaning(seen):
        harsh = method.harshness.chemical.grade >= 2
        waits = harsh and method.agent not in done and step.method not in tried
        if waits and step.before is None and method.agent not in same:
            yield step.id


def solvents_on_a_lens(seen: Seen) -> Iterator[str]:
    for step, _ in _cleaning(seen):
        classes = {agent.agent_class for agent in seen.agents(step)}
        if "lens" in seen.k.zones[step.zone or ""].surface and classes & NOT_ON_LENSES:
            yield f"{step.id} {classes}"


def unjudged_air(seen: Seen) -> Iterator[str]:
    for step in seen.plan.steps:
        agent = seen.k.agents.get(step.agent or "")
        if agent and agent.limits and step.amount_ml and agent.form == "liquid" and not step.air:
            yield step.id


def burning(seen: Seen) -> Iterator[str]:
    for step in seen.plan.steps:
        lel = step.air.lel_fraction if step.air else None
        if lel is not None and lel > seen.k.judgement.lel_share.value * 1.001:
            yield f"{step.id} {lel}"


def barred(seen: Seen) -> Iterator[str]:
    held = {(e.finding, e.method) for e in seen.plan.excluded if e.interlock}
    return (s.id for s in seen.plan.steps if (s.finding, s.method) in held)


def closed(seen: Seen) -> Iterator[str]:
    states = {line.id: line.state for line in seen.plan.findings}
    over = ("left", "accepted", "cleared")
    return (s.id for s in seen.plan.steps if s.finding and states[s.finding] in over)


# What must hold -> what a plan breaks of it.
CHECKS: dict[str, Check] = {
    # people
    "what is listed to be refused is never offered": (
        lambda s: (f"{step.id} {agent.id}" for step, agent in _each(s) if agent.never)
    ),
    "nobody gets what their circumstances bar": lambda s: (
        f"{step.id} {agent.id}"
        for step, agent in _each(s)
        if {*s.bench.circumstances} & {*agent.not_for, *s.method(step).not_for}
    ),
    "what a person refuses is not offered": lambda s: (
        f"{step.id} {agent.id}"
        for step, agent in _each(s)
        if agent.id in {each.agent for each in s.bench.refused}
    ),
    "only stock means only stock": lambda s: (
        f"{step.id} {agent.id}"
        for step, agent in _each(s)
        if s.bench.only_stock and agent.id not in {each.agent for each in s.bench.stock}
    ),
    "gloves that fail are not worn": lambda s: (
        x.id for x in s.plan.steps if {*x.protection.gloves} & {*x.protection.gloves_fail}
    ),
    "agents of the day that must not meet are said": unnamed_mixes,
    # air
    "nothing that evaporates while the day is not known": lambda s: (
        x.id for x in s.plan.steps if s.unread and x.air and x.air.peak_mg_per_m3 > 0
    ),
    "what is unread is named": lambda s: (
        ["no notice"] * (s.unread and all(n.rule != "air-unknown" for n in s.plan.notices))
    ),
    "levels stay below the limits that are judged": lambda s: (
        f"{step.id} {line.authority} {line.basis}"
        for step, line in _limits(s)
        if line.judged and line.level_mg_per_m3 > line.limit_mg_per_m3 * 1.001
    ),
    "the air never comes near burning": burning,
    "an amount that evaporates is judged": unjudged_air,
    "amounts are possible": lambda s: (
        f"{step.id} {ml}"
        for step in s.plan.steps
        if (ml := step.amount_ml) is not None and not (math.isfinite(ml) and 0 < ml <= 10_000)
    ),
    # the insect
    "no solvent on a lens": solvents_on_a_lens,
    "no act harsher than the place stands": too_harsh,
    "a ladder never steps down": down_a_ladder,
    "what is protected or accepted is left": closed,
    "what is not settled gets only what is harmless": unsettled_work,
    "no later stage before its gate": too_early,
    "a hold or a refusal offers nothing": lambda s: (
        step.id for step in s.plan.steps if s.plan.held or s.plan.refused
    ),
    "harm that nobody released is held": unheld_harm,
    "passes end": lambda s: (
        f"{step.id} {step.passes_done} of {step.passes}"
        for step in s.plan.steps
        if step.passes_done >= step.passes and step.before is None
    ),
    "a new liquid is tried on a hidden spot first": untried_liquids,
    "every zone of a step is one that was seen": lambda s: (
        step.id
        for step in s.plan.steps
        if step.finding is not None and step.zone not in {f.zone for f in s.case.findings}
    ),
    # a step is whole
    "no id stands twice": lambda s: (
        name for name, times in Counter(step.id for step in s.plan.steps).items() if times > 1
    ),
    "every place exists": lambda s: (
        step.id for step in s.plan.steps if step.zone and step.zone not in s.k.zones
    ),
    "an offered method is not among the barred": barred,
    "nothing shown can steer a terminal": lambda s: (
        repr(text) for text in _texts(asdict(s.plan)) if CONTROL.search(text)
    ),
}


def _texts(held: Any) -> Iterator[str]:
    if isinstance(held, str):
        yield held
    elif isinstance(held, dict):
        for inner in held.values():
            yield from _texts(inner)
    elif isinstance(held, list | tuple):
        for inner in held:
            yield from _texts(inner)
