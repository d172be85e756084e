"""Liquids at the bench: working solutions, baths of a pH, storage alcohol, bursts, drops."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from triage.bench.stock import (
    WATER_G_PER_ML,
    Basis,
    Bottle,
    acid_ml_per_litre,
    drops_per_ml,
    drops_to_ml,
    fluid_ml_for_strength,
    make_up,
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
from triage.units import positive, short

PER_ML = "1/mL"
ML_PER_L = 1000.0
STOP_HERE = "stop here and look for damage"


def answer(means: Means, asked: MixQuestion) -> Answer:
    """Return how to make up a working solution.

    A TriageError tells of strengths that cannot be, and of what is not known of agent or stock.
    """
    knowledge, agent = means.knowledge, means.agent(asked.agent)
    found = (_by_strength if asked.to_ph is None else _by_ph)(means, asked, agent)
    mixes = (line.text for line in never_mix(knowledge, agent))
    told = replace(
        found,
        cautions=(*found.cautions, *mixes, *(line.text for line in agent.ask_label)),
        sources=(agent.source,),
        first=means.to_read_first(agent),
    )
    return answered(knowledge, told)


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


def _by_strength(means: Means, asked: MixQuestion, agent: Agent) -> Answer:
    target, basis = asked.to or 0.0, "w/w"
    if asked.grams is not None:
        if asked.basis not in (None, "w/w"):
            raise TriageError("by mass only w/w can be made up", mend="leave --basis out")
        made = weigh_up(target, _stock_of(means, agent, asked.stock), asked.grams)
        figures = [Figure("stock", made.stock, "g"), Figure("water", made.water, "g")]
        assumptions = ["Strengths are percent by mass; masses add up exactly."]
    else:
        basis = _basis_of(agent, asked.basis)
        density, told = _density(agent, asked.density) if basis == "w/w" else (None, "")
        strength = _stock_of(means, agent, asked.stock)
        bottle = Bottle(strength, basis, density, into_water=agent.agent_class == "acid")
        made = make_up(target, basis, bottle, asked.ml or 0.0)
        figures = [
            Figure("stock", made.stock, "mL"),
            Figure("top up to", asked.ml, "mL"),
            Figure("water, about", made.water, "mL", "a guide; the mark decides"),
        ]
        dense = "The working solution is taken as dense as water."
        assumptions = [told, dense] if told else []
        assumptions.append("Conservation of the dissolved mass; stirred, at one temperature.")
    if basis == "w/w":
        figures += _base_figures(means.knowledge, agent, target)
    return Answer(made.sentence, figures, assumptions=assumptions)


def _figure_of(knowledge: Knowledge, agent_id: str, unit: str) -> Dose | None:
    """Return the figure that the doses file holds for an agent in a unit."""
    held = (d for d in knowledge.doses.values() if d.agent == agent_id and d.unit == unit)
    return next(held, None)


def _base_figures(knowledge: Knowledge, agent: Agent, target: float) -> Iterator[Figure]:
    """Yield the pH of a weak base of a strength by mass, where its constant is known."""
    constant, mass = _figure_of(knowledge, agent.id, "mol/L"), agent.physical.value("molar_mass")
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


def bath_acids(knowledge: Knowledge) -> tuple[str, ...]:
    """Return the acids that a method puts into a bath whose pH the doses file holds."""
    found = set()
    for method in knowledge.methods.values():
        ids = agent_ids(knowledge, method.id)
        if any(_figure_of(knowledge, each, "pH") for each in ids):
            found |= {each for each in ids if knowledge.agents[each].agent_class == "acid"}
    return tuple(sorted(found))


def _by_ph(means: Means, asked: MixQuestion, agent: Agent) -> Answer:
    """Return how much acid brings a bath to a pH; a weak acid would need its constant."""
    knowledge, ph = means.knowledge, asked.to_ph or 0.0
    if asked.ml is None:
        raise TriageError("a bath of a pH is made by volume", mend="give --ml")
    known = bath_acids(knowledge)
    if agent.id not in known:
        raise TriageError(
            f"a pH is worked out only for: {', '.join(known) or 'nothing here'}",
            mend=f"for {agent.name} use a target strength and check with a strip",
        )
    total = positive("total volume", asked.ml, "mL")
    strength = _stock_of(means, agent, asked.stock)
    dense, told = _density(agent, asked.density)
    mass = agent.physical.value("molar_mass")
    if mass is None:
        raise TriageError(f"no molar mass of {agent.name} is known", mend="add it to its file")
    stock_mol = molarity(strength, dense, mass)
    acid_ml = acid_ml_per_litre(ph, stock_mol) * total / ML_PER_L
    span = next(d for d in knowledge.doses.values() if d.unit == "pH" and d.span)
    good = span.least <= ph <= span.most
    cautions = [] if good else [f"The bath works from pH {span.least:g} to {span.most:g}."]
    cautions += ["Water first, acid into it, never the other way round.", "Check with a pH strip."]
    return Answer(
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
        cautions,
        (
            "The acid gives off all its hydrogen ions; the enzyme and the insect take up a few.",
            told,
        ),
    )


def alcohol(means: Means, asked: AlcoholQuestion) -> Answer:
    """Return the strength of storage alcohol after the body's water has thinned it."""
    knowledge = means.knowledge
    body, usual, brittle = (
        dose(knowledge, each) for each in ("wet-body-water", "wet-strength", "wet-brittle-from")
    )
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
    tail = "."
    if last < usual.least:
        tail = f", below the usual {usual.least:g} %: change once more or use more fluid."
    elif last >= brittle.least:
        tail = f", at or above {brittle.least:g} %, where insects turn brittle: use a weaker stock."
    told = Answer(
        f"After {asked.changes} {words} the fluid stands at {number(last)} %{tail}",
        figures,
        assumptions=(
            f"Water in the body: {water:g} mL/g ({body.because})",
            "Full mixing at each change; the volume lost on mixing is left out.",
        ),
        sources=(body.source,),
    )
    return answered(knowledge, told)


def bursts(means: Means, asked: BurstQuestion) -> Answer:
    """Return what is left of the bursts, with the next one that is wanted taken off.

    No formula for a safe dwell is known: the numbers come from the knowledge and are shown with
    their own standing. An OutOfRange tells of a burst that is too long, and of more than allowed.
    """
    knowledge = means.knowledge
    one, most = dose(knowledge, "ultrasonic-burst"), dose(knowledge, "ultrasonic-most-bursts")
    budget, longest, count = knowledge.judgement.burst_budget_s, one.most, int(most.most)
    done = asked.done
    for place, burst in enumerate(done, start=1):
        if positive(f"burst {place}", burst, "s") > longest:
            told = f"burst {place} lasted {burst:g} s, longer than {longest:g} s"
            raise OutOfRange(told, mend=STOP_HERE)
    if len(done) > count:
        raise OutOfRange(f"{len(done)} bursts were given, {count} are allowed", mend=STOP_HERE)
    if asked.next_s is not None:
        wanted = positive("next burst", asked.next_s, "s")
        if len(done) == count:
            raise OutOfRange("no burst is left for this specimen", mend="choose another method")
        if wanted > longest:
            raise OutOfRange(
                f"a burst of {wanted:g} s is longer than {longest:g} s",
                mend=f"set at most {longest:g} s and look before the next",
            )
        done = (*done, wanted)
    left, used = count - len(done), float(sum(done))
    if used > budget.value:
        told = f"{used:g} s of bursts is above the budget of {budget.value:g} s"
        raise OutOfRange(told, mend=STOP_HERE)
    left_s = min(budget.value - used, left * longest)
    sentence = f"No burst is left ({used:g} s used)."
    if left:
        noun = "burst" if left == 1 else "bursts"
        sentence = f"{left} {noun} left, each at most {longest:g} s; look after each one."
    told_all = Answer(
        sentence,
        (
            Figure("bursts left", left),
            Figure("used", used, "s"),
            Figure("left in all", left_s, "s", budget.because, budget.source),
            Figure("longest next burst", min(longest, left_s), "s"),
            Figure("one burst, most", one.most, "s", dose_note(one), one.source),
            Figure("most bursts", count, "", dose_note(most), most.source),
        ),
        ("Look after every burst; stop at the first loss of scales, legs or hairs.",),
        ("No formula gives a safe dwell; a burst that was cut short counts as one.",),
    )
    return answered(knowledge, told_all)


def drops(means: Means, asked: DropQuestion) -> Answer:
    """Return the volume of some drops, or the drops for a volume, with the range it may lie in.

    The range is that of the dropper (drops in a millilitre, volume error) taken at its corners. A
    TriageError tells of neither or both of drops and volume, and of half a calibration.
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
    told = Answer(
        f"{sentence}{count:g} {noun} about {ml:.3g} mL ({least_ml:.2g} to {most_ml:.2g} mL).",
        (
            Figure("drops", count),
            Figure("volume", ml, "mL"),
            Figure("at least", least_ml, "mL"),
            Figure("at most", most_ml, "mL", "judge the air by this one"),
            *rate,
            Figure("error of a dropper", 100.0 * share, "%", dose_note(error), error.source),
        ),
        ("A drop from a tube held aslant or squeezed fast is bigger.",),
        ("Held upright, a drop falling by itself.",),
    )
    return answered(means.knowledge, told)


def _rate(means: Means, asked: DropQuestion) -> tuple[float, float, tuple[Figure, ...]]:
    """Return the fewest and the most drops in a millilitre, and the figures that say so."""
    agent = means.agent(asked.agent) if asked.agent else None
    if (asked.counted is None) != (asked.filled_ml is None):
        raise TriageError(
            "a dropper is calibrated by drops and the volume they filled",
            mend="give both --counted and --filled",
        )
    if asked.counted is not None and asked.filled_ml is not None:
        one = drops_per_ml(asked.counted, asked.filled_ml)
        return one, one, (Figure("drops in a millilitre", one, PER_ML, "your own count"),)
    entry = dose(means.knowledge, "dropper-drops-per-ml")
    if agent is not None:
        doses = (d for d in means.knowledge.doses.values() if d.kind == entry.kind)
        own = next((d for d in doses if (d.agent, d.unit) == (agent.id, PER_ML)), None)
        if own is None:  # another liquid has no count until it is counted
            raise TriageError(
                f"how big a drop of {agent.name} is, is not known",
                mend="count your own: --counted 35 --filled 2",
            )
        entry = own
    figures = tuple(
        Figure(name, value, PER_ML, dose_note(entry), entry.source)
        for name, value in (("drops in a millilitre, fewest", entry.least), ("most", entry.most))
    )
    return entry.least, entry.most, figures
