"""Damp chambers: humidity over a salt or a wet pad, water, mould time, and when to look."""

from __future__ import annotations

from collections.abc import Iterator

from triage.bench.chamber import (
    Humidity,
    exponential_rh,
    look_times_h,
    next_look_h,
    salt_rh,
    water_to_reach_mg,
)
from triage.bench.mould import mould_limit
from triage.exposure.wording import number
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Salt
from triage.plan.answers import Answer, Figure, Means, answered, dose, dose_note
from triage.plan.inputs import ChamberQuestion
from triage.units import at_least, positive, short, within

HOURS_PER_DAY = 24.0
WET_RH_PERCENT = 100.0
SHOWN_LOOKS = 8
MOULD_SOURCE = "hukka-viitanen-1999"


def answer(means: Means, asked: ChamberQuestion) -> Answer:
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
    divisor = dose(knowledge, "chamber-mould-safety-divisor")
    cap = dose(knowledge, "chamber-mould-cap")
    mould = mould_limit(
        temp_c,
        rh,
        divisor=divisor.most,
        cap_days_at_20_c=cap.most,
        has_inhibitor=asked.has_inhibitor,
    )
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
    if closed_h is not None:
        at_least("time closed", closed_h, 0.0, "h")
        coming = next_look_h(closed_h, first.most, per_day.most, until)
        note = "hours after closing" if coming is not None else "the planned stay is over: look now"
        yield Figure("next look", coming, "h", note, first.source)
        return
    looks = look_times_h(first.most, per_day.most, until)
    for place, each in enumerate(looks[:SHOWN_LOOKS], start=1):
        yield Figure(f"look {place}", each, "h", "hours after closing", first.source)


def _vapour_figures(knowledge: Knowledge, volume_l: float) -> Iterator[Figure]:
    """Yield the vapour doses of the doses file for this box: some chambers work with one."""
    for each in knowledge.doses.values():
        if each.kind == "vapour" and each.unit == "mL/L":
            note = f"from {short(each.least * volume_l):g}; {each.because}"
            name = f"if with vapour: {each.name}"
            yield Figure(name, each.most * volume_l, "mL", note, each.source)
