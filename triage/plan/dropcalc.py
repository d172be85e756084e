"""Drops and millilitres: how much a number of drops is, and how many drops an amount takes."""

from __future__ import annotations

from triage.bench.drops import Volume, drops_to_ml, ml_per_drop, ml_to_drops
from triage.errors import TriageError
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Dose
from triage.plan.answers import Answer, Figure, Means, answered, dose, dose_note
from triage.plan.inputs import DropQuestion

PER_ML = "1/mL"


def answer(means: Means, asked: DropQuestion) -> Answer:
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
    middle = (least + most) / 2.0
    share = error.most
    if asked.drops is not None:
        count, sentence = asked.drops, ""
    else:
        # Counted by the biggest drop: rounding never makes an amount larger than was asked for.
        count = ml_to_drops(asked.ml or 0.0, least, share).count
        sentence = f"For {asked.ml:g} mL: "
    span = Volume(
        drops_to_ml(count, middle, share).ml,
        drops_to_ml(count, most, share).least_ml,
        drops_to_ml(count, least, share).most_ml,
    )
    noun = "drop is" if count == 1 else "drops are"
    return answered(
        means.knowledge,
        f"{sentence}{count:g} {noun} about {span.ml:.3g} mL "
        f"({span.least_ml:.2g} to {span.most_ml:.2g} mL).",
        (
            Figure("drops", count),
            Figure("volume", span.ml, "mL"),
            Figure("at least", span.least_ml, "mL"),
            Figure("at most", span.most_ml, "mL", "judge the air by this one"),
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
