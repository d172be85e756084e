"""What the bench asks in small: damp chambers, storage alcohol, ultrasonic bursts, drops."""

from __future__ import annotations

from collections.abc import Iterator

from triage.bench.bursts import burst_budget
from triage.bench.chamber import (
    Humidity,
    MouldLimit,
    exponential_rh,
    look_times_h,
    mould_limit,
    salt_rh,
    water_to_reach_mg,
)
from triage.bench.stock import (
    drops_to_ml,
    fluid_ml_for_strength,
    ml_per_drop,
    strengths_after_body_water,
    whole_drops,
)
from triage.errors import OutOfRange, TriageError
from triage.exposure.wording import number
from triage.knowledge.agents import Agent
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Dose, Salt
from triage.plan.answers import Answer, Figure, Means, answered, dose, dose_note
from triage.plan.inputs import AlcoholQuestion, BurstQuestion, ChamberQuestion, DropQuestion
from triage.units import at_least, positive, short, within

HOURS_PER_DAY = 24.0
WET_RH_PERCENT = 100.0
SHOWN_LOOKS = 8
MOULD_DIVISOR, MOULD_CAP = "chamber-mould-safety-divisor", "chamber-mould-cap"
MOULD_SOURCE = "hukka-viitanen-1999"
PER_ML = "1/mL"


def chamber(means: Means, asked: ChamberQuestion) -> Answer:
    """Return water, humidity, mould time and looks of a rehydration chamber."""
    knowledge, rh = means.knowledge, WET_RH_PERCENT
    temp_c = within("temperature", means.temp_c(asked.temp_c), 0.1, 45.0, "C")
    figures: list[Figure] = []
    cautions: list[str] = []
    if asked.salt is not None:
        salt = knowledge.require("salt", asked.salt)
        held = salt_rh(salt, temp_c)
        rh = held.rh_percent
        figures += _salt_figures(salt, held, temp_c)
        cautions += [salt.caution] if salt.caution else []
    water = water_to_reach_mg(asked.volume_l, temp_c, min(asked.rh_start_percent, rh), rh)
    figures.append(Figure("water the air takes up", water, "mg", "air alone, at most"))
    divisor, cap = (dose(knowledge, each) for each in (MOULD_DIVISOR, MOULD_CAP))
    mould = mould_time(knowledge, temp_c, rh, has_inhibitor=asked.has_inhibitor)
    figures.append(Figure("longest stay", mould.stay_days, "days", mould.standing))
    slow = mould.slow_estimate_days
    if slow is not None:
        figures.append(Figure("mould on clean wood", slow, "days", "slow end", MOULD_SOURCE))
    days = mould.stay_days if asked.days is None else positive("days", asked.days, "days")
    if days > mould.stay_days:
        cautions.append(f"{days:g} days is longer than the {number(mould.stay_days)} to plan for.")
    figures += _look_figures(knowledge, days, asked.closed_h)
    sentence = mould.sentence[:1].lower() + mould.sentence[1:]
    return answered(
        knowledge,
        f"The air comes to {number(rh)} % RH; {sentence}",
        (
            Figure("relative humidity", rh, "%"),
            *figures,
            *_vapour_figures(knowledge, asked.volume_l),
        ),
        cautions=(*cautions, "The pad, not the air, is the store: wet it well, no drop may fall."),
        assumptions=(
            "A tight box at one temperature; paper, cork and insect take up far more water.",
            f"Longest stay: {dose_note(divisor)} ({divisor.name}); {dose_note(cap)} ({cap.name}).",
        ),
        sources=(MOULD_SOURCE, divisor.source, cap.source),
    )


def mould_time(
    knowledge: Knowledge, temp_c: float, rh_percent: float, *, has_inhibitor: bool
) -> MouldLimit:
    """Return the longest stay to plan in a chamber, by the careful ends of the doses."""
    return mould_limit(
        temp_c,
        rh_percent,
        divisor=dose(knowledge, MOULD_DIVISOR).most,
        cap_days_at_20_c=dose(knowledge, MOULD_CAP).least,
        has_inhibitor=has_inhibitor,
    )


def _salt_figures(salt: Salt, held: Humidity, temp_c: float) -> Iterator[Figure]:
    off, name = held.plus_minus_percent, f"over {salt.name}"
    spread = "uncertainty not published here" if off is None else f"+/- {off:g} (k = 2)"
    yield Figure(name, held.rh_percent, "%", spread, held.source)
    second = exponential_rh(salt, temp_c)
    if second is not None and held.route != "exponential":
        off = second.plus_minus_percent
        note = "second source, for comparison" + (f", within {off:g}" if off else "")
        yield Figure(name, second.rh_percent, "%", note, second.source)


def _look_figures(knowledge: Knowledge, days: float, closed_h: float | None) -> Iterator[Figure]:
    first = dose(knowledge, "chamber-first-look")
    per_day = dose(knowledge, "chamber-looks-per-day")
    until = days * HOURS_PER_DAY
    looks = look_times_h(first.most, per_day.most, until)
    if closed_h is not None:
        so_far = at_least("time closed", closed_h, 0.0, "h")
        coming = next((look for look in looks if look > so_far), None)
        note = "hours after closing" if coming is not None else "the planned stay is over: look now"
        yield Figure("next look", coming, "h", note, first.source)
        return
    for place, each in enumerate(looks[:SHOWN_LOOKS], start=1):
        yield Figure(f"look {place}", each, "h", "hours after closing", first.source)


def _vapour_figures(knowledge: Knowledge, volume_l: float) -> Iterator[Figure]:
    """Yield the vapour doses of the doses file for this box: some chambers work with one."""
    for each in knowledge.doses.values():
        if each.kind == "vapour" and each.unit == "mL/L":
            note = f"from {short(each.least * volume_l):g}; {each.because}"
            name = f"if with vapour: {each.name}"
            yield Figure(name, each.most * volume_l, "mL", note, each.source)


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
