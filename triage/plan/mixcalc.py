"""Liquids at the bench: working solutions, baths of a pH, storage alcohol, bursts, drops."""

from __future__ import annotations

from collections.abc import Iterator

from triage.bench.bursts import burst_budget
from triage.bench.stock import (
    Basis,
    acid_ml_per_litre,
    drops_to_ml,
    fluid_ml_for_strength,
    make_up,
    ml_per_drop,
    molarity,
    strengths_after_body_water,
    weak_base_ph,
    weigh_up,
    whole_drops,
)
from triage.engine.vocabulary import agent_ids
from triage.errors import OutOfRange, TriageError
from triage.exposure.wording import number
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Dose
from triage.plan.answers import Answer, Figure, Means, answered, dose, dose_note
from triage.plan.inputs import AlcoholQuestion, BurstQuestion, DropQuestion, MixQuestion
from triage.plan.liquids import never_mix
from triage.plan.substances import figure_of
from triage.units import positive, short

PER_ML = "1/mL"
WATER_G_PER_ML = 1.0
ML_PER_L = 1000.0


def answer(means: Means, asked: MixQuestion) -> Answer:
    """Return how to make up a working solution.

    Raises
    ------
    TriageError: strengths that cannot be, a figure of the agent or of the stock that is not known.
    """
    agent = means.agent(asked.agent)
    if asked.to_ph is not None:
        if asked.ml is None:
            raise TriageError("a bath of a pH is made by volume", mend="give --ml")
        return _by_ph(means, asked, agent, asked.to_ph, asked.ml)
    if asked.grams is not None and asked.basis not in (None, "w/w"):
        raise TriageError("by mass only w/w can be made up", mend="leave --basis out")
    return _by_strength(means, asked, agent, asked.to or 0.0)


def _stock_of(means: Means, agent: Agent, stock: float | None) -> float:
    known = stock if stock is not None else means.bench.strength_of(agent.id)
    if known is None:
        raise TriageError(
            f"the strength of your {agent.name} is not known",
            mend="read it off the label and give --stock, or write it into the bench file",
        )
    return known


def _basis_of(agent: Agent, basis: Basis | None) -> Basis:
    if basis is not None:
        return basis
    if agent.strength_basis == "as-is":
        raise TriageError(
            f"{agent.name} is used as it is: no strength is known for it", mend="give --basis"
        )
    return agent.strength_basis


def _density(agent: Agent, given: float | None) -> tuple[float, str]:
    """Return the density of the stock [g/mL], and what is to be said of it."""
    held = agent.physical.density
    if given is not None:
        value, whence = positive("density", given, "g/mL"), "as given"
    elif held is not None and held.value is not None:
        value, whence = held.value, f"{held.source}{f': {held.note}' if held.note else ''}"
    else:
        raise TriageError(f"no density of {agent.name} is known", mend="give --density in g/mL")
    return value, f"Density of the stock {value:g} g/mL ({whence}); give your own if not."


def _by_strength(means: Means, asked: MixQuestion, agent: Agent, target: float) -> Answer:
    basis: Basis = "w/w"
    if asked.grams is not None:
        weighed = weigh_up(target, _stock_of(means, agent, asked.stock), asked.grams)
        sentence = weighed.sentence
        figures = [Figure("stock", weighed.stock_g, "g"), Figure("water", weighed.water_g, "g")]
        assumptions = ["Strengths are percent by mass; masses add up exactly."]
    else:
        basis = _basis_of(agent, asked.basis)
        density = _density(agent, asked.density) if basis == "w/w" else None
        made = make_up(
            target,
            _stock_of(means, agent, asked.stock),
            asked.ml or 0.0,
            basis,
            densities_g_per_ml=(density[0], WATER_G_PER_ML) if density else None,
            stock_goes_into_water=agent.agent_class == "acid",
        )
        sentence = made.sentence
        figures = [
            Figure("stock", made.stock_ml, "mL"),
            Figure("top up to", made.top_up_to_ml, "mL"),
            Figure("water, about", made.water_about_ml, "mL", "a guide; the mark decides"),
        ]
        dense = "The working solution is taken as dense as water."
        assumptions = [density[1], dense] if density else []
        assumptions.append("Conservation of the dissolved mass; stirred, at one temperature.")
    if basis == "w/w":
        figures += _base_figures(means.knowledge, agent, target)
    return answered(
        means.knowledge,
        sentence,
        figures,
        cautions=_cautions(means.knowledge, agent),
        assumptions=assumptions,
        sources=(agent.source,),
        first=means.to_read_first(agent),
    )


def _figure_of(knowledge: Knowledge, agent_id: str, unit: str) -> Dose | None:
    """Return the figure that the doses file holds for an agent in a unit."""
    held = (d for d in knowledge.doses.values() if d.agent == agent_id and d.unit == unit)
    return next(held, None)


def _base_figures(knowledge: Knowledge, agent: Agent, target: float) -> Iterator[Figure]:
    """Yield the pH of a weak base of a strength by mass, where its constant is known."""
    constant, mass = _figure_of(knowledge, agent.id, "mol/L"), figure_of(agent, "molar_mass")
    if constant is None or mass is None:
        return
    strength = molarity(target, WATER_G_PER_ML, mass)
    note = f"{short(strength):g} mol/L; at 25 C, as dense as water"
    try:
        ph = weak_base_ph(strength, constant.most)
    except OutOfRange as fault:
        yield Figure("pH", None, "", fault.message, constant.source)
    else:
        yield Figure("pH, about", round(ph, 1), "", note, constant.source)


def _cautions(knowledge: Knowledge, agent: Agent) -> tuple[str, ...]:
    mixes = (line.text for line in never_mix(knowledge, agent))
    return (*mixes, *(line.text for line in agent.ask_label))


def bath_acids(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the acids that a method puts into a bath whose pH the doses file holds."""
    found = set()
    for method in knowledge.methods.values():
        ids = agent_ids(knowledge, method.id)
        if any(_figure_of(knowledge, each, "pH") for each in ids):
            found |= {each for each in ids if knowledge.agents[each].agent_class == "acid"}
    return tuple(sorted(found))


def _by_ph(means: Means, asked: MixQuestion, agent: Agent, ph: float, total_ml: float) -> Answer:
    """Return how much acid brings a bath to a pH; a weak acid would need its constant."""
    knowledge = means.knowledge
    known = bath_acids(knowledge)
    if agent.id not in known:
        raise TriageError(
            f"a pH is worked out only for: {', '.join(known) or 'nothing here'}",
            mend=f"for {agent.name} use a target strength and check with a strip",
        )
    total = positive("total volume", total_ml, "mL")
    strength = _stock_of(means, agent, asked.stock)
    dense, told = _density(agent, asked.density)
    mass = figure_of(agent, "molar_mass")
    if mass is None:
        raise TriageError(f"no molar mass of {agent.name} is known", mend="add it to its file")
    stock_mol = molarity(strength, dense, mass)
    acid_ml = acid_ml_per_litre(ph, stock_mol) * total / ML_PER_L
    span = next(d for d in knowledge.doses.values() if d.unit == "pH" and d.span)
    good = span.least <= ph <= span.most
    cautions = [] if good else [f"The bath works from pH {span.least:g} to {span.most:g}."]
    cautions += ["Water first, acid into it, never the other way round.", "Check with a pH strip."]
    return answered(
        knowledge,
        f"Put {number(acid_ml)} mL of the {strength:g} % stock into water and top up to "
        f"{total:g} mL for pH {ph:g}.",
        (
            Figure("acid stock", acid_ml, "mL"),
            Figure("top up to", total, "mL"),
            Figure("acid in the bath", 10.0**-ph, "mol/L"),
            Figure("acid in the stock", stock_mol, "mol/L", f"density {dense:g} g/mL"),
            Figure("pH the bath works at, least", span.least, source=span.source),
            Figure("pH the bath works at, most", span.most, source=span.source),
        ),
        cautions=(*cautions, *_cautions(knowledge, agent)),
        assumptions=(
            "The acid gives off all its hydrogen ions; the enzyme and the insect take up a few.",
            told,
        ),
        sources=(agent.source,),
        first=means.to_read_first(agent),
    )


def alcohol(means: Means, asked: AlcoholQuestion) -> Answer:
    """Return the strength of storage alcohol after the body's water has thinned it."""
    knowledge = means.knowledge
    body, usual = dose(knowledge, "wet-body-water"), dose(knowledge, "wet-strength")
    brittle = dose(knowledge, "wet-brittle-from")
    water = body.most if asked.water is None else asked.water
    found = strengths_after_body_water(asked.stock, asked.fluid, water, asked.changes)
    figures = [
        Figure(f"strength after change {n}", each, "% v/v") for n, each in enumerate(found, start=1)
    ]
    figures += [
        Figure("usual strength, least", usual.least, "% v/v", usual.because, usual.source),
        Figure("usual strength, most", usual.most, "% v/v", "", usual.source),
        Figure("brittle from", brittle.least, "% v/v", brittle.because, brittle.source),
    ]
    if asked.grams is not None and asked.stock > usual.least:
        least = fluid_ml_for_strength(asked.grams, usual.least, asked.stock, water)
        figures.append(Figure("least fluid for one change", least, "mL"))
    last = found[-1]
    words = "change" if asked.changes == 1 else "changes"
    head = f"After {asked.changes} {words} the fluid stands at {number(last)} %"
    if last < usual.least:
        tail = f", below the usual {usual.least:g} %: change once more or use more fluid."
    elif last >= brittle.least:
        tail = f", at or above {brittle.least:g} %, where insects turn brittle: use a weaker stock."
    else:
        tail = "."
    return answered(
        knowledge,
        head + tail,
        figures,
        assumptions=(
            f"Water in the body: {water:g} mL/g ({body.because})",
            "Full mixing at each change; the volume lost on mixing is left out.",
        ),
        sources=(body.source,),
    )


def bursts(means: Means, asked: BurstQuestion) -> Answer:
    """Return what is left of the bursts; a next one is refused if it is too long or none is left.

    Raises
    ------
    OutOfRange: a burst that is too long, or more than the budget.
    """
    knowledge = means.knowledge
    one, most = dose(knowledge, "ultrasonic-burst"), dose(knowledge, "ultrasonic-most-bursts")
    budget = knowledge.judgement.burst_budget_s
    count = int(most.most)
    found = burst_budget(asked.done, one.most, count, asked.next_s)
    if found.used_s > budget.value:
        raise OutOfRange(
            f"{found.used_s:g} s of bursts is above the budget of {budget.value:g} s",
            mend="stop here and look for damage",
        )
    left_s = min(budget.value - found.used_s, found.bursts_left * one.most)
    return answered(
        knowledge,
        found.sentence,
        (
            Figure("bursts left", found.bursts_left),
            Figure("used", found.used_s, "s"),
            Figure("left in all", left_s, "s", budget.because, budget.source),
            Figure("longest next burst", min(found.longest_next_s, left_s), "s"),
            Figure("one burst, most", one.most, "s", dose_note(one), one.source),
            Figure("most bursts", count, "", dose_note(most), most.source),
        ),
        cautions=("Look after every burst; stop at the first loss of scales, legs or hairs.",),
        assumptions=("No formula gives a safe dwell; a burst that was cut short counts as one.",),
    )


def drops(means: Means, asked: DropQuestion) -> Answer:
    """Return the volume of some drops, or the drops for a volume, with the range it may lie in.

    The range is that of the dropper (drops in a millilitre, volume error) taken at its corners.

    Raises
    ------
    TriageError: neither or both of drops and volume, half a calibration, or an unknown agent.
    OutOfRange: a number out of range, too few drops to calibrate by, less than one drop.
    """
    if (asked.drops is None) == (asked.ml is None):
        raise TriageError("give a number of drops or an amount", mend="write 5, or --ml 0.3")
    error = dose(means.knowledge, "dropper-error")
    least, most, rate = _rate(means, asked)
    share = error.most
    if asked.drops is not None:
        count, sentence = asked.drops, ""
    else:
        # Counted by the biggest drop: rounding never makes an amount larger than was asked for.
        count = whole_drops(asked.ml or 0.0, least)
        sentence = f"For {asked.ml:g} mL: "
    ml, least_ml, most_ml = drops_to_ml(count, least, most, share)
    noun = "drop is" if count == 1 else "drops are"
    return answered(
        means.knowledge,
        f"{sentence}{count:g} {noun} about {ml:.3g} mL ({least_ml:.2g} to {most_ml:.2g} mL).",
        (
            Figure("drops", count),
            Figure("volume", ml, "mL"),
            Figure("at least", least_ml, "mL"),
            Figure("at most", most_ml, "mL", "judge the air by this one"),
            *rate,
            Figure("error of a dropper", 100.0 * share, "%", dose_note(error), error.source),
        ),
        cautions=("A drop from a tube held aslant or squeezed fast is bigger.",),
        assumptions=("Held upright, a drop falling by itself.",),
    )


def _rate(means: Means, asked: DropQuestion) -> tuple[float, float, tuple[Figure, ...]]:
    """Return the fewest and the most drops in a millilitre, and the figures that say so."""
    agent = means.agent(asked.agent) if asked.agent else None
    if (asked.counted is None) != (asked.filled_ml is None):
        raise TriageError(
            "a dropper is calibrated by drops and the volume they filled",
            mend="give both --counted and --filled",
        )
    if asked.counted is not None and asked.filled_ml is not None:
        one = 1.0 / ml_per_drop(asked.counted, asked.filled_ml)
        return one, one, (Figure("drops in a millilitre", one, PER_ML, "your own count"),)
    entry = _entry(means.knowledge, agent)
    figures = tuple(
        Figure(name, value, PER_ML, dose_note(entry), entry.source)
        for name, value in (("drops in a millilitre, fewest", entry.least), ("most", entry.most))
    )
    return entry.least, entry.most, figures


def _entry(knowledge: Knowledge, agent: Agent | None) -> Dose:
    """Return the drop count of a liquid; another liquid has none until it is counted."""
    standard = dose(knowledge, "dropper-drops-per-ml")
    if agent is None:
        return standard
    for entry in knowledge.doses.values():
        if entry.agent == agent.id and entry.kind == standard.kind and entry.unit == PER_ML:
            return entry
    raise TriageError(
        f"how big a drop of {agent.name} is, is not known",
        mend="count your own: --counted 35 --filled 2",
    )
