"""What must hold for every complete step of a plan, and for a plan whose ladder is used up."""

from dataclasses import dataclass

from tests.proof.invariants import Invariant, named, promised
from triage.engine.vocabulary import agent_ids
from triage.knowledge.base import Status
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan, Step
from triage.plan.outcomes import INSERT

# From this grade of hazard to the person a step is a hold point.
HAZARD_GRADE = 3


@dataclass(frozen=True, slots=True)
class Shown:
    """One complete step with the knowledge behind it."""

    knowledge: Knowledge
    step: Step

    def agents(self) -> tuple[str, ...]:
        """Return the agents that are open on the bench: a trial has those of what it tries."""
        step, k = self.step, self.knowledge
        tried = step.before if k.methods[step.method].tries_next else None
        return agent_ids(k, tried or step.method)

    def hazards(self) -> set[str]:
        """Return the hazards of all agents of the step."""
        return {h for a in self.agents() for h in self.knowledge.agents[a].hazards}


STEPS: list[Invariant[Shown]] = []
END: list[Invariant[Plan]] = []


@promised("air-is-within-its-limit", STEPS)
def air_within(shown: Shown) -> str:
    """No step is shown whose predicted air goes over a limit."""
    air = shown.step.air
    return air.sentence if air is not None and air.verdict == "over" else ""


@promised("evaporating-step-names-its-air", STEPS)
def names_air(shown: Shown) -> str:
    """A step with an agent that has limits shows them with the ventilation it needs."""
    k, step = shown.knowledge, shown.step
    agent = k.agents.get(step.agent or "")
    if agent is None or step.amount_ml is None:
        return ""
    limits = k.agents[agent.vapour_of].limits if agent.vapour_of else agent.limits
    if not limits:
        return ""
    if step.air is None:
        return "no air line"
    if not step.air.ventilation.strip():
        return "no ventilation"
    return "" if len(step.air.limits) == len(limits) else "a limit is not shown"


@promised("hazard-is-a-hold-point", STEPS)
def hazard_holds(shown: Shown) -> str:
    """A hazardous step that touches the specimen asks for an observation before it opens."""
    k, step = shown.knowledge, shown.step
    worst = max((k.hazards[h].grade for h in shown.hazards()), default=0)
    person = k.methods[step.method].harshness.person.grade
    touches = k.techniques[step.technique].contact != "none"
    if max(worst, person) < HAZARD_GRADE or INSERT in step.id or not touches:
        return ""
    return "" if step.hazardous and step.hold.strip() else "no hold"


@promised("skin-hazard-names-gloves", STEPS)
def names_gloves(shown: Shown) -> str:
    """Every glove that fails for a part of the liquid is named so, and only others as holding.

    None is named for a part without any hazard, such as water.
    """
    k, worn = shown.knowledge, shown.step.protection
    parts = [k.agents[a] for a in shown.agents()]
    hurting = [agent for agent in parts if agent.hazards or agent.skin]
    listed = [glove for agent in hurting for glove in agent.gloves]
    failing = {glove.material for glove in listed if glove.verdict == "fails"}
    fail = sum(glove.verdict == "fails" for glove in listed)
    hold = sum(glove.material not in failing for glove in listed)
    said = (len(worn.gloves_fail), len(worn.gloves))
    return "" if said == (fail, hold) else f"{said} glove lines, not {(fail, hold)}"


@promised("eye-hazard-names-goggles", STEPS)
def names_goggles(shown: Shown) -> str:
    """A step whose agent can hurt the eyes asks for goggles."""
    k = shown.knowledge
    needed = any(k.hazards[h].needs_eye_protection for h in shown.hazards())
    return "no goggles" if needed and not shown.step.protection.eyes else ""


@promised("stop-points-are-whole", STEPS)
def stop_points(shown: Shown) -> str:
    """Each stop point says what to see, what it means and what to do then."""
    points = shown.step.stop_points
    whole = points and all(p.see and p.means and p.then for p in points)
    return "" if whole else "a stop point is missing or says too little"


@promised("step-says-what-to-do", STEPS)
def says_what(shown: Shown) -> str:
    """Each step says what to do, what success looks like and why it stands here."""
    step = shown.step
    whole = step.do and step.success and step.because and step.tool and step.passes >= 1
    return "" if whole else "something is not said"


@promised("dwell-and-amount-stay-within-the-method", STEPS)
def within_method(shown: Shown) -> str:
    """Neither dwell nor amount goes beyond what the method allows."""
    step, method = shown.step, shown.knowledge.methods[shown.step.method]
    if method.dwell_s and (step.dwell_s or 0) > method.dwell_s.most:
        return f"dwell {step.dwell_s} s"
    if method.amount and (step.amount_ml or 0) > method.amount.typical_ml:
        return f"amount {step.amount_ml} mL"
    return ""


@promised("mixes-are-named", STEPS)
def mixes_named(shown: Shown) -> str:
    """Every mix with an agent of the step that must not be made stands in its cautions.

    Partners that are still drafts are left out: no method may use them. What harms nobody (water)
    is opened everywhere: the mix is named where its partner is.
    """
    k, step = shown.knowledge, shown.step
    said = " ".join(c.text for c in step.cautions if c.kind == "mixing")
    drafts = {agent.id for agent in k.agents.values() if agent.status is Status.DRAFT}
    return named(
        mix.product
        for agent in shown.agents()
        if k.agents[agent].hazards
        for mix in k.agents[agent].incompatible
        if mix.product not in said and mix.with_ not in drafts
    )


@promised("waste-is-named", STEPS)
def waste_named(shown: Shown) -> str:
    """A step says where its waste goes wherever its agents say so."""
    k, step = shown.knowledge, shown.step
    listed = any(k.agents[a].disposal for a in shown.agents())
    return "disposal is missing" if listed and not step.disposal else ""


@promised("every-step-has-rule-and-source", STEPS)
def has_source(shown: Shown) -> str:
    """Each step names the source of its method, and the rules that offered it exist."""
    k, step = shown.knowledge, shown.step
    known = {rule.id for rules in k.rules.values() for rule in rules}
    if not step.sources or any(source not in k.sources for source in step.sources):
        return "no source"
    return named({*step.rules} - known)


@promised("a-used-up-ladder-ends-in-words", END)
def ends_in_words(plan: Plan) -> str:
    """When nothing permitted is left, the plan says to stop and how to leave it."""
    spoken = " ".join(n.text for n in plan.notices if n.kind in ("full-stop", "leave-it"))
    ended = (f for f in plan.findings if f.state in ("stopped", "left"))
    return named(f.id for f in ended if f.zone_name not in spoken)
