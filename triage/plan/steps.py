"""Complete a step: everything a person needs to do it, and to stop in time."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace

from triage.bench.stock import Bottle, make_up
from triage.case.models import Case, Side
from triage.case.profile import Bench
from triage.engine.consult import Conclusions
from triage.engine.facts import Conclusion
from triage.engine.vocabulary import agents_in
from triage.errors import TriageError
from triage.exposure.wording import limit_words
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method, Strength
from triage.knowledge.rules import Family
from triage.plan.airjudge import AirChoice
from triage.plan.ladder import Ladder, applies, grades
from triage.plan.liquids import (
    Used,
    as_done,
    lines_to_do,
    never_mix,
    not_beside,
    selectivity_of,
    strength_text,
)
from triage.plan.model import (
    CautionLine,
    DocumentLine,
    HarshnessGrades,
    MakeUpLine,
    Protection,
    RuledOut,
    Served,
    Step,
    StepStatus,
    StopPoint,
)
from triage.plan.ordering import Item
from triage.plan.outcomes import Target, as_followed

LEAST_MAKE_UP_ML = 10.0
HAZARD_GRADE = 3
MILDER_SHOWN = 6
# What must be read before the bottle is opened stands first.
CAUTION_ORDER = (
    "stop",
    "breathing",
    "ventilation",
    "ignition",
    "gloves",
    "eyes",
    "mixing",
    "specimen",
    "disposal",
    "legal",
)


@dataclass(frozen=True, slots=True)
class Setting:
    """What steps are completed with: the knowledge, the case, the bench and what was concluded.

    ``today`` holds what was used in the room in the last 24 hours, ``planned`` what each method of
    the plan uses.
    """

    knowledge: Knowledge
    case: Case
    bench: Bench
    conclusions: Conclusions
    today: tuple[Used, ...] = ()
    planned: tuple[tuple[str, Used], ...] = ()


def _diluted(agent: Agent, strength: Strength, stock: float | None, total_ml: float) -> MakeUpLine:
    target = strength_text(agent, strength)
    basis = strength.unit.removeprefix("% ")
    if stock is None:
        sentence = (
            f"How strong is your {agent.name}? Read it off the label and write it into the bench "
            f"file: without it no mix of {target} is worked out."
        )
        return MakeUpLine(agent.id, target, "strength not known", None, None, sentence)
    held = agent.strength_basis
    shown = f"{stock:g} % {held}"
    # Dilute solutions are close to water; the stock's density stands in the knowledge.
    density = agent.physical.value("density")
    bottle = Bottle(
        stock,
        basis if held == "as-is" else held,  # type: ignore[arg-type]
        density,
        into_water=agent.agent_class == "acid",
    )
    try:
        made = make_up(strength.value, basis, bottle, total_ml)  # type: ignore[arg-type]
    except TriageError as fault:
        sentence = f"Cannot be worked out: {fault.message}; {fault.mend}."
        return MakeUpLine(agent.id, target, shown, None, None, sentence)
    return MakeUpLine(
        agent.id, target, shown, round(made.stock, 3), round(total_ml, 3), made.sentence
    )


def make_up_lines(
    knowledge: Knowledge, bench: Bench, method: Method, amount_ml: float | None
) -> tuple[MakeUpLine, ...]:
    """Return how to make the working liquid up from the user's stock, one line for each agent."""
    parts = [(method.agent, method.strength)] if method.agent else []
    parts += [(part.agent, part.strength) for part in method.with_]
    needed = (amount_ml or 0.0) * method.passes
    total_ml = max(LEAST_MAKE_UP_ML, needed)
    lines = []
    for agent_id, strength in parts:
        agent = knowledge.agents[agent_id]
        if strength is not None and strength.unit.startswith("%"):
            line = _diluted(agent, strength, bench.strength_of(agent_id), total_ml)
        else:
            text = strength_text(agent, strength)
            line = MakeUpLine(agent_id, text, "as it is", None, None, f"Use {text}.")
        if bench.stock and not bench.has_stock(agent_id):
            line = replace(line, sentence=f"NOT IN STOCK: {agent.name}. {line.sentence}")
        lines.append(line)
    return tuple(lines)


def protection_of(knowledge: Knowledge, agents: Sequence[Agent]) -> Protection:
    """Return what to wear for these agents; the safety data sheet goes before it.

    They are one liquid: what fails for one of them is not named as holding the others.
    """
    failing = {g.material for each in agents for g in each.gloves if g.verdict == "fails"}
    holds: list[str] = []
    fails: list[str] = []
    eyes: list[str] = []
    breathing: list[str] = []
    for agent in agents:
        for glove in agent.gloves if agent.hazards or agent.skin else ():
            name = knowledge.materials[glove.material].name
            minutes = f" ({glove.minutes})" if glove.minutes else ""
            note = ", splash only" if glove.verdict == "splash" else ""
            text = f"{agent.name}: {name}{note}{minutes}"
            if glove.verdict == "fails":
                fails.append(text)
            elif glove.material not in failing:
                holds.append(text)
        if any(knowledge.hazards[h].needs_eye_protection for h in agent.hazards):
            eyes.append(f"{agent.name}: tight goggles")
        breathing += [f"{agent.name}: {line.text}" for line in agent.breathing]
    return Protection(tuple(holds), tuple(fails), tuple(eyes), tuple(breathing))


def waste_of(knowledge: Knowledge, agents: Sequence[Agent]) -> tuple[str, ...]:
    """Return where the rests go; the drain is named only where every agent lets them into it."""
    lines = [line for agent in agents for line in agent.disposal]
    kept_out = any(knowledge.hazards[h].no_drain for agent in agents for h in agent.hazards)
    drain = not kept_out and all(line.drain for line in lines)
    return tuple(line.text for line in lines if drain or not line.drain)


def cautions_of(
    knowledge: Knowledge, conclusions: Conclusions, item: Item, targets: Iterable[Target]
) -> Iterator[Conclusion]:
    """Yield the cautions for a step on some targets; a trial shares those of what it tries."""
    methods = {item.method, *([item.before] if knowledge.methods[item.method].tries_next else ())}
    targets = tuple(targets)
    for caution in conclusions.of(Family.CAUTION, "caution"):
        here = any(applies(caution, target) for target in targets)
        if here and not methods.isdisjoint(caution.get("method")):
            yield caution


def caution_lines(
    setting: Setting,
    ladders: Sequence[Ladder],
    item: Item,
    agents: Sequence[Agent],
    *,
    judged: bool = False,
) -> tuple[CautionLine, ...]:
    """Return the cautions of a step: those of the rules, then mixes and notices of its agents.

    ``judged``: the air shows the limits of the main agent, so that they are not said again.
    """
    knowledge, lines = setting.knowledge, []
    targets = [ladder.target for ladder in ladders]
    for conclusion in cautions_of(knowledge, setting.conclusions, item, targets):
        rule = knowledge.rule(conclusion.rule)
        lines.append(CautionLine(conclusion.get("kind"), rule.because, rule.id, rule.source))
    for agent in agents:
        lines += never_mix(knowledge, agent)
        for notice in agent.notices:
            text = f"{notice.jurisdiction}, {notice.date}: {notice.text}"
            lines.append(CautionLine("legal", text, f"agent:{agent.id}", notice.source))
        lines += [
            CautionLine("stop", label.text, f"agent:{agent.id}", label.source)
            for label in agent.ask_label
        ]
    planned = [used for held, used in setting.planned if held != item.method]
    lines += not_beside(knowledge, agents, setting.today, planned)
    lines += [limits_line(knowledge, a) for a in agents[1 if judged else 0 :] if a.limits]
    return tuple(sorted(dict.fromkeys(lines), key=lambda line: CAUTION_ORDER.index(line.kind)))


def limits_line(knowledge: Knowledge, agent: Agent) -> CautionLine:
    """Return the published limits of an agent whose air is not worked out in this step."""
    shown = [
        limit_words(knowledge.authorities[limit.authority].name, limit) for limit in agent.limits
    ]
    text = f"{agent.name}, limits in air, not worked out for this step: {'; '.join(shown)}."
    return CautionLine("breathing", text, f"agent:{agent.id}", agent.limits[0].source)


def keep_away(
    knowledge: Knowledge, bench: Bench, method: Method, agents: Sequence[Agent]
) -> tuple[str, ...]:
    """Return what the step would harm, what is on this bench first."""
    found = {attack.material: attack.how for agent in agents for attack in agent.attacks}
    found |= {material: "keep away" for material in method.keep_away if material not in found}
    ordered = sorted(found, key=lambda m: (m not in bench.supports, m))
    return tuple(
        f"{knowledge.materials[m].name} ({found[m]})"
        + (" - on your bench" if m in bench.supports else "")
        for m in ordered
    )


def _is_hazardous(method: Method, agents: Iterable[Agent], knowledge: Knowledge) -> bool:
    worst = max((knowledge.hazards[h].grade for a in agents for h in a.hazards), default=0)
    return method.harshness.person.grade >= HAZARD_GRADE or worst >= HAZARD_GRADE


def _readings(setting: Setting, method: Method, followed: str | None) -> Iterator[DocumentLine]:
    """Yield what each document says of a method on which they disagree, its own first."""
    told = {method.source: method.stands} | {each.source: each.text for each in method.also}
    for source, says in told.items():
        title = setting.knowledge.sources[source].title
        chosen = source == (followed or method.source)
        yield DocumentLine(source, title, says, chosen, source in method.followable)


def _hold_prompt(knowledge: Knowledge, method: Method, ladder: Ladder, *, hazardous: bool) -> str:
    """Return what must be observed and written down before this step opens, empty if nothing."""
    unchanged = int(knowledge.judgement.unchanged_passes.value)
    if ladder.progress.unchanged >= unchanged:
        return (
            f"{ladder.progress.unchanged} passes changed nothing. Look again: what makes you sure "
            "of the deposit?"
        )
    if ladder.progress.harmed:
        return "It got worse here before. What do you see now, and why is it safe to go on?"
    if method.test_spot:
        return "What did the hidden test spot show?"
    if hazardous and knowledge.techniques[method.technique].contact != "none":
        return "What do you see now that makes this step needed?"
    return ""


def _why(
    setting: Setting, ladder: Ladder, method: Method, item: Item
) -> tuple[str, tuple[RuledOut, ...]]:
    knowledge, problem = setting.knowledge, _problem_name(setting.knowledge, ladder)
    if item.inserted:
        tried = knowledge.methods[item.before or ""].name
        return f"It stands before {tried}, a step on {problem}.", ()
    barred = (bar for bar in ladder.barred if bar.method in ladder.offered)
    earlier = tuple(RuledOut(bar.method, bar.rule, bar.because) for bar in barred)
    done = [m for m in ladder.offered if ladder.progress.done(m)]
    verb = "help with this state:" if ladder.target.condition else "remove"
    if ladder.progress.last.get(method.id) == "better":
        text = f"It helped: the same step again on {problem}."
    elif done:
        names = ", ".join(knowledge.methods[m].name for m in sorted(done))
        text = f"The least harsh step left for {problem}; already tried: {names}."
    elif item.rung == 1:
        text = f"The least harsh step that may {verb} {problem}."
    else:
        text = f"Only if the milder steps leave {problem} behind."
    return text, earlier[:MILDER_SHOWN]


def _problem_name(knowledge: Knowledge, ladder: Ladder) -> str:
    if ladder.target.condition is not None:
        return knowledge.conditions[ladder.target.condition].name
    if ladder.problem is None:
        return "what has not been identified yet"
    return knowledge.deposits[ladder.problem].name


def _served(knowledge: Knowledge, ladder: Ladder, sides: Mapping[str, Side | None]) -> Served:
    zone, finding = knowledge.zones.get(ladder.zone or ""), ladder.target.key
    where = zone.name if zone else str(ladder.zone)
    return Served(finding, where, sides.get(finding), _problem_name(knowledge, ladder))


def _grade_reasons(method: Method) -> tuple[str, ...]:
    h = method.harshness
    told = {"mechanical": h.mechanical, "chemical": h.chemical, "to the person": h.person}
    told |= {"not to be undone": h.lasting} if h.lasting else {}
    return tuple(f"{kind} {each.grade}: {each.because}" for kind, each in told.items())


def complete_step(
    setting: Setting, item: Item, ladders: Sequence[Ladder], choice: AirChoice, status: StepStatus
) -> Step:
    """Return the complete step for one rung or inserted step of a ladder, first of those served."""
    knowledge, bench, ladder = setting.knowledge, setting.bench, ladders[0]
    sides = {finding.id: finding.side for finding in setting.case.findings}
    # The air stays judged by the entry's own figures: the shorter release is the higher one.
    method = as_done(knowledge, item.method, item.before)
    read: tuple[DocumentLine, ...] = ()
    if method.also:
        method, source = as_followed(knowledge, setting.case, item.method)
        read = tuple(_readings(setting, method, source))
    agents = [knowledge.agents[a] for a in agents_in(method)]
    stops = [knowledge.stops[s] for s in method.stop_signs]
    zone = knowledge.zones.get(item.zone or "")
    hazardous = _is_hazardous(method, agents, knowledge)
    cautions = caution_lines(setting, ladders, item, agents, judged=choice.line is not None)
    holds = [_hold_prompt(knowledge, method, each, hazardous=hazardous) for each in ladders]
    because, ruled_out = _why(setting, ladder, method, item)
    offering = {offer.rule for offer in ladder.offers(item.method)}
    return Step(
        id=item.step,
        status=status,
        stage=method.stage,
        finding=ladder.target.finding,
        zone=item.zone,
        zone_name=zone.name if zone else None,
        side=sides.get(ladder.target.key),
        deposit=ladder.problem,
        deposit_name=_problem_name(knowledge, ladder),
        also=tuple(_served(knowledge, each, sides) for each in ladders[1:]),
        method=item.method,
        before=item.before,
        name=method.name,
        agent=method.agent,
        agent_name=knowledge.agents[method.agent].name if method.agent else None,
        technique=method.technique,
        outcomes=knowledge.outcomes[method.outcomes].words,
        tool=method.tool,
        harshness=HarshnessGrades(*grades(method)),
        harshness_because=_grade_reasons(method),
        rung=item.rung,
        rungs=len(ladder.rungs),
        passes=1 if item.inserted else method.passes,
        passes_done=0 if item.inserted else ladder.progress.done(item.method),
        dwell_s=method.dwell_s.start if method.dwell_s else None,
        dwell_most_s=method.dwell_s.most if method.dwell_s else None,
        burst_s=method.burst_s.start if method.burst_s else None,
        temp_c=(method.temp_c.start, method.temp_c.most) if method.temp_c else None,
        readings=read,
        amount_ml=choice.amount_ml,
        amount_because=choice.because,
        make_up=make_up_lines(knowledge, bench, method, choice.amount_ml),
        do=lines_to_do(knowledge, method, item.zone),
        success=method.success,
        stop_points=tuple(StopPoint(s.id, s.see, s.means, s.then) for s in stops),
        cautions=cautions,
        protection=protection_of(knowledge, agents),
        air=choice.line,
        rinse=tuple(method.rinse),
        drying=method.drying,
        keep_away=keep_away(knowledge, bench, method, agents),
        disposal=waste_of(knowledge, agents),
        selectivity=selectivity_of(knowledge, bench, method, ladder.problem),
        look_after_h=tuple(method.look_after_h),
        hazardous=hazardous,
        hold="" if item.inserted else next(filter(None, holds), ""),
        because=because,
        ruled_out=ruled_out,
        evidence=tuple(f"{line.text} ({line.source})" for line in method.evidence),
        rules=tuple(sorted(offering | {c.rule for c in cautions if ":" not in c.rule})),
        sources=tuple(dict.fromkeys([method.source, *(line.source for line in method.evidence)])),
    )
