"""What must hold of every plan, written from the safety goals: no function of the planner is used.

Each check takes a plan as a user holds it, with the case, the bench and the entries of the rules.
What must hold of one complete step is written once, in ``tests/proof/steps.py``, and checked here too.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
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
from triage.plan.model import Plan, Step
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
        """Return the method of a step."""
        return self.k.methods[step.method]

    def agents(self, step: Step) -> list[Agent]:
        """Return every agent of a step; of a trial those of the step whose liquid it tries."""
        method = self.method(step)
        of = self.k.methods[step.before] if method.tries_next and step.before else method
        ids = [of.agent] if of.agent else []
        return [self.k.agents[name] for name in (*ids, *(part.agent for part in of.with_))]


Check = Callable[[Seen], Iterator[str]]
CHECKS: dict[str, Check] = {}


def must(check: Check) -> Check:
    """Register a check; it yields what is wrong."""
    CHECKS[check.__name__] = check
    return check


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


# -- people ---------------------------------------------------------------------------------------


@must
def what_is_listed_to_be_refused_is_never_offered(seen: Seen) -> Iterator[str]:
    yield from (f"{step.id} {agent.id}" for step, agent in _each(seen) if agent.never)


@must
def nobody_gets_what_their_circumstances_bar(seen: Seen) -> Iterator[str]:
    told = set(seen.bench.circumstances)
    for step, agent in _each(seen):
        if told & {*agent.not_for, *seen.method(step).not_for}:
            yield f"{step.id} {agent.id} {told}"


@must
def what_a_person_refuses_is_not_offered(seen: Seen) -> Iterator[str]:
    refused = {each.agent for each in seen.bench.refused}
    yield from (f"{step.id} {agent.id}" for step, agent in _each(seen) if agent.id in refused)


@must
def only_stock_means_only_stock(seen: Seen) -> Iterator[str]:
    stock = {each.agent for each in seen.bench.stock}
    if seen.bench.only_stock:
        yield from (f"{step.id} {agent.id}" for step, agent in _each(seen) if agent.id not in stock)


@must
def gloves_that_fail_are_not_worn(seen: Seen) -> Iterator[str]:
    for step in seen.plan.steps:
        if set(step.protection.gloves) & set(step.protection.gloves_fail):
            yield step.id


@must
def agents_of_the_day_that_must_not_meet_are_said(seen: Seen) -> Iterator[str]:
    for step, agent in _each(seen):
        said = " ".join(line.text for line in step.cautions if line.kind == "mixing")
        for used, where in seen.day.used:
            other = seen.k.agents[used]
            named = any(m.with_ in (other.id, other.agent_class) for m in agent.incompatible)
            if named and other.id != agent.id and where not in said:
                yield f"{step.id}: {other.id} was used in {where}"


# -- air ------------------------------------------------------------------------------------------


@must
def nothing_that_evaporates_while_the_day_is_not_known(seen: Seen) -> Iterator[str]:
    if seen.unread:
        yield from (s.id for s in seen.plan.steps if s.air and s.air.peak_mg_per_m3 > 0)


@must
def what_is_unread_is_named(seen: Seen) -> Iterator[str]:
    if seen.unread and not any(n.rule == "air-unknown" for n in seen.plan.notices):
        yield "no notice"


@must
def levels_stay_below_the_limits_that_are_judged(seen: Seen) -> Iterator[str]:
    for step in seen.plan.steps:
        for line in step.air.limits if step.air else ():
            if line.judged and line.level_mg_per_m3 > line.limit_mg_per_m3 * 1.001:
                yield f"{step.id} {line.authority} {line.basis}"


@must
def the_air_never_comes_near_burning(seen: Seen) -> Iterator[str]:
    for step in seen.plan.steps:
        lel = step.air.lel_fraction if step.air else None
        if lel is not None and lel > seen.k.judgement.lel_share.value * 1.001:
            yield f"{step.id} {lel}"


@must
def an_amount_that_evaporates_is_judged(seen: Seen) -> Iterator[str]:
    for step in seen.plan.steps:
        agent = seen.k.agents.get(step.agent or "")
        if agent and agent.limits and step.amount_ml and agent.form == "liquid" and not step.air:
            yield step.id


@must
def amounts_are_possible(seen: Seen) -> Iterator[str]:
    for step in seen.plan.steps:
        amount = step.amount_ml
        if amount is not None and not (math.isfinite(amount) and 0 < amount <= 10_000):
            yield f"{step.id} {amount}"


# -- the insect -----------------------------------------------------------------------------------


def _cleaning(seen: Seen) -> Iterator[tuple[Step, Method]]:
    for step in seen.plan.steps:
        method = seen.method(step)
        if method.stage == "clean" and step.zone in seen.k.zones and not method.tries_next:
            yield step, method


@must
def no_solvent_on_a_lens(seen: Seen) -> Iterator[str]:
    for step, _ in _cleaning(seen):
        zone = seen.k.zones[step.zone or ""]
        if "lens" in zone.surface:
            classes = {agent.agent_class for agent in seen.agents(step)}
            if classes & NOT_ON_LENSES:
                yield f"{step.id} {classes}"


@must
def no_act_harsher_than_the_place_stands(seen: Seen) -> Iterator[str]:
    for step, method in _cleaning(seen):
        zone, grades = seen.k.zones[step.zone or ""], method.harshness
        if grades.mechanical.grade > zone.most_mechanical:
            yield f"{step.id} mechanical"
        if grades.chemical.grade > zone.most_chemical:
            yield f"{step.id} chemical"


@must
def a_ladder_never_steps_down(seen: Seen) -> Iterator[str]:
    worst: dict[str, int] = {}
    for step in seen.plan.steps:
        if step.before is not None or step.finding is None or step.also:
            continue
        now = max(getattr(step.harshness, kind) for kind in WORST)
        if now < worst.get(step.finding, 0):
            yield step.id
        worst[step.finding] = now


@must
def what_is_protected_or_accepted_is_left(seen: Seen) -> Iterator[str]:
    states = {line.id: line.state for line in seen.plan.findings}
    for step in seen.plan.steps:
        if step.finding and states[step.finding] in ("left", "accepted", "cleared"):
            yield f"{step.id} {states[step.finding]}"


@must
def what_is_not_settled_gets_only_what_is_harmless(seen: Seen) -> Iterator[str]:
    states = {line.id: line.standing for line in seen.plan.findings}
    for step in seen.plan.steps:
        loose = step.before is not None or seen.method(step).harmless
        if step.finding and states[step.finding] != "settled" and not loose:
            yield step.id


@must
def no_later_stage_before_its_gate(seen: Seen) -> Iterator[str]:
    now = (*STAGES, DONE).index(seen.plan.stage)
    for step in seen.plan.steps:
        # What is done to a dry insect, and its trial, comes before it is softened.
        act = seen.k.methods[step.before or step.method]
        if STAGES.index(step.stage) > now and not act.while_dry:
            yield f"{step.id} {step.stage} in {seen.plan.stage}"


@must
def a_hold_or_a_refusal_offers_nothing(seen: Seen) -> Iterator[str]:
    if (seen.plan.held or seen.plan.refused) and seen.plan.steps:
        yield seen.plan.steps[0].id


@must
def harm_that_nobody_released_is_held(seen: Seen) -> Iterator[str]:
    released = {release.attempt for release in seen.case.releases}
    harmed = {
        attempt.id
        for attempt in seen.case.effective_attempts()
        if attempt.outcome in ("worse", "damage") and attempt.id not in released
    }
    if harmed - {hold.attempt for hold in seen.plan.held}:
        yield str(harmed)


@must
def passes_end(seen: Seen) -> Iterator[str]:
    for step in seen.plan.steps:
        if step.passes_done >= step.passes and step.before is None:
            yield f"{step.id} {step.passes_done} of {step.passes}"


@must
def a_new_liquid_is_tried_on_a_hidden_spot_first(seen: Seen) -> Iterator[str]:
    tried = {s.before for s in seen.plan.steps if seen.method(s).tries_next}
    done = {a.agent for a in seen.case.effective_attempts() if a.outcome != "not-done"}
    for step, method in _cleaning(seen):
        harsh = method.harshness.chemical.grade >= 2
        waits = harsh and method.agent not in done and step.method not in tried
        same = {seen.k.methods[name].agent for name in tried if name}
        if waits and step.before is None and method.agent not in same:
            yield step.id


@must
def every_zone_of_a_step_is_one_that_was_seen(seen: Seen) -> Iterator[str]:
    zones = {f.zone for f in seen.case.findings}
    for step in seen.plan.steps:
        if step.finding is not None and step.zone not in zones:
            yield step.id


# -- a step is whole ------------------------------------------------------------------------------


@must
def every_method_and_place_exists_and_ids_are_one(seen: Seen) -> Iterator[str]:
    ids = [step.id for step in seen.plan.steps]
    yield from (f"twice {step_id}" for step_id in ids if ids.count(step_id) > 1)
    yield from (s.id for s in seen.plan.steps if s.zone and s.zone not in seen.k.zones)


@must
def an_offered_method_is_not_among_the_barred(seen: Seen) -> Iterator[str]:
    barred = {(e.finding, e.method) for e in seen.plan.excluded if e.interlock}
    for step in seen.plan.steps:
        if (step.finding, step.method) in barred:
            yield step.id


@must
def nothing_shown_can_steer_a_terminal(seen: Seen) -> Iterator[str]:
    yield from (repr(text) for text in _texts(asdict(seen.plan)) if CONTROL.search(text))


def _texts(held: Any) -> Iterator[str]:
    if isinstance(held, str):
        yield held
    elif isinstance(held, dict):
        for inner in held.values():
            yield from _texts(inner)
    elif isinstance(held, list | tuple):
        for inner in held:
            yield from _texts(inner)
