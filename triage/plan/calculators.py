"""Working solutions, wet storage and bursts: the knowledge's figures joined to the arithmetic."""

from __future__ import annotations

from collections.abc import Sequence

from triage.bench.bursts import burst_budget, require_burst
from triage.bench.stock import (
    Basis,
    acid_ml_per_litre,
    fluid_ml_for_strength,
    make_up,
    molarity,
    strengths_after_body_water,
    weak_base_ph,
    weigh_up,
)
from triage.case.profile import Bench
from triage.engine.vocabulary import agent_ids
from triage.errors import OutOfRange, TriageError
from triage.exposure.wording import number
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Dose
from triage.plan.aircalc import agent_named
from triage.plan.answers import Answer, Figure, dose, dose_note, short, titled
from triage.plan.barring import agent_bars
from triage.plan.mixes import never_mix
from triage.units import positive

WATER_G_PER_ML = 1.0
ML_PER_L = 1000.0


def _stock_of(agent: Agent, bench: Bench, stock: float | None) -> float:
    known = stock if stock is not None else bench.strength_of(agent.id)
    if known is None:
        raise TriageError(
            f"the strength of your {agent.name} is not known",
            mend="read it off the label and give --stock, or write it into the bench file",
        )
    return known


def _to_read_first(knowledge: Knowledge, bench: Bench, agent: Agent) -> tuple[str, ...]:
    """Return why an agent is not used here or on this bench, and that it is not in stock."""
    found = [f"WARNING: {why}" for _, why in agent_bars(agent, bench, knowledge)]
    used = {each for name in knowledge.methods for each in agent_ids(knowledge, name)}
    if agent.id not in used:
        found.append(f"WARNING: no method here uses {agent.name}. {agent.note}".rstrip())
    if found:
        found += [line.text for line in never_mix(knowledge, agent)]
    if bench.stock and not bench.has_stock(agent.id):
        found.append(f"{agent.name} is not in stock.")
    return tuple(found)


def _basis_of(agent: Agent, basis: Basis | None) -> Basis:
    if basis is not None:
        return basis
    if agent.strength_basis == "as-is":
        raise TriageError(
            f"{agent.name} is used as it is: no strength is known for it", mend="give --basis"
        )
    return agent.strength_basis


def _density(agent: Agent, density: float | None) -> tuple[float, str]:
    """Return the stock's density [g/mL] and where it comes from."""
    if density is not None:
        return positive("density", density, "g/mL"), "as given"
    held = agent.physical.density
    if held is None or held.value is None:
        raise TriageError(f"no density of {agent.name} is known", mend="give --density in g/mL")
    return held.value, f"{held.source}{f': {held.note}' if held.note else ''}"


def answer_mix_volume(
    knowledge: Knowledge,
    bench: Bench,
    agent_id: str,
    target: float,
    total_ml: float,
    *,
    stock: float | None = None,
    basis: Basis | None = None,
    density: float | None = None,
) -> Answer:
    """Return how to make up a volume of a working solution from the user's stock.

    Parameters
    ----------
    target, stock strengths [% of ``basis`` or mol/L]; None takes the stock of the bench
    total_ml      volume wanted [mL]
    basis         None takes the agent's own
    density       of the stock [g/mL]; None takes the knowledge's; used by mass percent only
    """
    agent = agent_named(knowledge, agent_id)
    kind = _basis_of(agent, basis)
    strength = _stock_of(agent, bench, stock)
    value = None
    assumptions = []
    if kind == "w/w":
        value, whence = _density(agent, density)
        assumptions.append(f"Density of the stock {value:g} g/mL ({whence}); give your own if not.")
        assumptions.append("The working solution is taken as dense as water.")
    made = make_up(
        target,
        strength,
        total_ml,
        kind,
        stock_density_g_per_ml=value,
        target_density_g_per_ml=None if value is None else WATER_G_PER_ML,
        stock_goes_into_water=agent.agent_class == "acid",
    )
    figures = [
        Figure("stock", short(made.stock_ml), "mL"),
        Figure("top up to", short(made.top_up_to_ml), "mL"),
        Figure("water, about", short(made.water_about_ml), "mL", "a guide; the mark decides"),
    ]
    base = _base_figure(knowledge, agent, target, kind)
    assumptions.append("Conservation of the dissolved mass; stirred, at one temperature.")
    return Answer(
        made.sentence,
        (*figures, *([base] if base else [])),
        _mix_cautions(knowledge, agent),
        tuple(assumptions),
        titled(knowledge, (agent.source, base.source if base else "")),
        _to_read_first(knowledge, bench, agent),
    )


def answer_mix_mass(
    knowledge: Knowledge,
    bench: Bench,
    agent_id: str,
    target: float,
    total_g: float,
    *,
    stock: float | None = None,
) -> Answer:
    """Return how to weigh out a mass of a working solution [g], strengths in % w/w."""
    agent = agent_named(knowledge, agent_id)
    made = weigh_up(target, _stock_of(agent, bench, stock), total_g)
    base = _base_figure(knowledge, agent, target, "w/w")
    figures = [
        Figure("stock", short(made.stock_g), "g"),
        Figure("water", short(made.water_g), "g"),
        *([base] if base else []),
    ]
    return Answer(
        made.sentence,
        tuple(figures),
        _mix_cautions(knowledge, agent),
        ("Strengths are percent by mass; masses add up exactly.",),
        titled(knowledge, (agent.source, base.source if base else "")),
        _to_read_first(knowledge, bench, agent),
    )


def _figure_of(knowledge: Knowledge, agent_id: str, unit: str) -> Dose | None:
    """Return the figure that the doses file holds for an agent in a unit."""
    return next(
        (d for d in knowledge.doses.values() if d.agent == agent_id and d.unit == unit), None
    )


def _base_figure(
    knowledge: Knowledge, agent: Agent, target_percent: float, basis: Basis
) -> Figure | None:
    """Return the pH of a weak base, where its constant is known and the strength is by mass."""
    constant = _figure_of(knowledge, agent.id, "mol/L")
    mass = agent.physical.molar_mass
    if constant is None or basis != "w/w" or mass is None or mass.value is None:
        return None
    strength = molarity(target_percent, WATER_G_PER_ML, mass.value)
    note = f"{short(strength):g} mol/L; at 25 C, as dense as water"
    try:
        ph = weak_base_ph(strength, constant.most)
    except OutOfRange as fault:
        return Figure("pH", None, "", fault.message, constant.source)
    return Figure("pH, about", short(round(ph, 1)), "", note, constant.source)


def _mix_cautions(knowledge: Knowledge, agent: Agent) -> tuple[str, ...]:
    return (
        *(line.text for line in never_mix(knowledge, agent)),
        *(line.text for line in agent.ask_label),
    )


def bath_acids(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the acids that a method puts into a bath whose pH the doses file holds."""
    found = set()
    for method in knowledge.methods.values():
        ids = agent_ids(knowledge, method.id)
        if any(_figure_of(knowledge, each, "pH") for each in ids):
            found |= {each for each in ids if knowledge.agents[each].agent_class == "acid"}
    return tuple(sorted(found))


def answer_mix_ph(
    knowledge: Knowledge,
    bench: Bench,
    agent_id: str,
    ph: float,
    total_ml: float,
    *,
    stock: float | None = None,
    density: float | None = None,
) -> Answer:
    """Return how much acid brings a bath to a pH, for the strong acid of the enzyme bath.

    Raises
    ------
    TriageError: an agent that no method uses to set a pH: a weak acid would need its constant.
    """
    agent = agent_named(knowledge, agent_id)
    known = bath_acids(knowledge)
    if agent.id not in known:
        raise TriageError(
            f"a pH is worked out only for: {', '.join(known) or 'nothing here'}",
            mend=f"for {agent.name} use a target strength and check with a strip",
        )
    total = positive("total volume", total_ml, "mL")
    strength = _stock_of(agent, bench, stock)
    value, whence = _density(agent, density)
    mass = agent.physical.molar_mass
    if mass is None or mass.value is None:
        raise TriageError(f"no molar mass of {agent.name} is known", mend="add it to its file")
    stock_mol = molarity(strength, value, mass.value)
    acid_ml = acid_ml_per_litre(ph, stock_mol) * total / ML_PER_L
    span = next(d for d in knowledge.doses.values() if d.unit == "pH" and d.span)
    good = span.least <= ph <= span.most
    cautions = [] if good else [f"The bath works from pH {span.least:g} to {span.most:g}."]
    cautions += ["Water first, acid into it, never the other way round.", "Check with a pH strip."]
    return Answer(
        f"Put {number(acid_ml)} mL of the {strength:g} % stock into water and top up to "
        f"{total:g} mL for pH {ph:g}.",
        (
            Figure("acid stock", short(acid_ml), "mL"),
            Figure("top up to", total, "mL"),
            Figure("acid in the bath", short(10.0**-ph), "mol/L"),
            Figure("acid in the stock", short(stock_mol), "mol/L", f"density {value:g} g/mL"),
            Figure("pH the bath works at, least", span.least, "", source=span.source),
            Figure("pH the bath works at, most", span.most, "", source=span.source),
        ),
        (*cautions, *_mix_cautions(knowledge, agent)),
        (
            "The acid gives off all its hydrogen ions; the enzyme and the insect take up a few.",
            f"Density of the stock {value:g} g/mL ({whence}); give your own if not.",
        ),
        titled(knowledge, (agent.source, span.source)),
        _to_read_first(knowledge, bench, agent),
    )


def answer_alcohol(
    knowledge: Knowledge,
    stock_percent: float,
    fluid_ml_per_g: float,
    changes: int,
    *,
    water_ml_per_g: float | None = None,
    specimen_g: float | None = None,
) -> Answer:
    """Return the strength of storage alcohol after the body's water has thinned it.

    Parameters
    ----------
    stock_percent  strength poured on each time [% v/v]
    fluid_ml_per_g fluid per gram of specimen at each change [mL/g]
    changes        how often it is poured on
    water_ml_per_g water in the specimen [mL/g]; None takes the most of the knowledge
    specimen_g     mass of the specimen [g]; adds the least fluid for one change
    """
    body, usual = dose(knowledge, "wet-body-water"), dose(knowledge, "wet-strength")
    brittle = dose(knowledge, "wet-brittle-from")
    water = body.most if water_ml_per_g is None else water_ml_per_g
    found = strengths_after_body_water(stock_percent, fluid_ml_per_g, water, changes)
    figures = [
        Figure(f"strength after change {n}", short(each), "% v/v")
        for n, each in enumerate(found, start=1)
    ]
    figures += [
        Figure("usual strength, least", usual.least, "% v/v", usual.because, usual.source),
        Figure("usual strength, most", usual.most, "% v/v", "", usual.source),
        Figure("brittle from", brittle.least, "% v/v", brittle.because, brittle.source),
    ]
    if specimen_g is not None and stock_percent > usual.least:
        least = fluid_ml_for_strength(specimen_g, usual.least, stock_percent, water)
        figures.append(Figure("least fluid for one change", short(least), "mL"))
    last = found[-1]
    words = "change" if changes == 1 else "changes"
    head = f"After {changes} {words} the fluid stands at {number(last)} %"
    if last < usual.least:
        tail = f", below the usual {usual.least:g} %: change once more or use more fluid."
    elif last >= brittle.least:
        tail = f", at or above {brittle.least:g} %, where insects turn brittle: use a weaker stock."
    else:
        tail = "."
    return Answer(
        head + tail,
        tuple(figures),
        (),
        (
            f"Water in the body: {water:g} mL/g ({body.because})",
            "Full mixing at each change; the volume lost on mixing is left out.",
        ),
        titled(knowledge, (body.source, usual.source, brittle.source)),
    )


def answer_bursts(
    knowledge: Knowledge, done_s: Sequence[float], next_s: float | None = None
) -> Answer:
    """Return what is left of the ultrasonic bursts of one specimen.

    Parameters
    ----------
    done_s bursts given so far [s]
    next_s burst that is wanted next [s]; refused if it is too long or none is left
    """
    one, most = dose(knowledge, "ultrasonic-burst"), dose(knowledge, "ultrasonic-most-bursts")
    budget = knowledge.judgement.burst_budget_s
    count = int(most.most)
    found = burst_budget(done_s, one.most, count)
    if next_s is not None:
        found = require_burst(next_s, done_s, one.most, count)
    if found.used_s > budget.value:
        raise OutOfRange(
            f"{found.used_s:g} s of bursts is above the budget of {budget.value:g} s",
            mend="stop here and look for damage",
        )
    left_s = min(budget.value - found.used_s, found.bursts_left * one.most)
    return Answer(
        found.sentence,
        (
            Figure("bursts left", found.bursts_left, ""),
            Figure("used", short(found.used_s), "s"),
            Figure("left in all", short(left_s), "s", budget.because, budget.source),
            Figure("longest next burst", short(min(found.longest_next_s, left_s)), "s"),
            Figure("one burst, most", one.most, "s", dose_note(one), one.source),
            Figure("most bursts", count, "", dose_note(most), most.source),
        ),
        ("Look after every burst; stop at the first loss of scales, legs or hairs.",),
        ("No formula gives a safe dwell; a burst that was cut short counts as one.",),
        titled(knowledge, (one.source, most.source, budget.source)),
    )
