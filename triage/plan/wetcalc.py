"""Wet keeping: what becomes of the strength of alcohol by the water of the body."""

from __future__ import annotations

from triage.bench.stock import fluid_ml_for_strength, strengths_after_body_water
from triage.exposure.wording import number
from triage.plan.answers import Answer, Figure, Means, answered, dose
from triage.plan.inputs import AlcoholQuestion


def answer(means: Means, asked: AlcoholQuestion) -> Answer:
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
