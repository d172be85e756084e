"""Damp chambers: humidity over a salt or a wet pad, water, mould time, and when to look."""

from __future__ import annotations

from dataclasses import dataclass

from triage.bench.chamber import (
    Humidity,
    exponential_rh,
    look_times_h,
    next_look_h,
    salt_rh,
    water_to_reach_mg,
)
from triage.bench.mould import mould_limit
from triage.errors import TriageError, did_you_mean
from triage.exposure.wording import number
from triage.knowledge.book import Knowledge
from triage.knowledge.tables import Salt
from triage.plan.answers import Answer, Figure, dose, dose_note, short, titled
from triage.units import at_least, positive, within

HOURS_PER_DAY = 24.0
WET_RH_PERCENT = 100.0
SHOWN_LOOKS = 8


def salt_named(knowledge: Knowledge, word: str) -> Salt:
    """Return a salt by id; an unknown one is refused with the nearest name."""
    found = knowledge.salts.get(word)
    if found is None:
        raise TriageError(f'unknown salt "{word}"', mend=did_you_mean(word, knowledge.salts))
    return found


@dataclass(frozen=True, slots=True)
class ChamberQuestion:
    """A damp chamber: box, climate, stay.

    ``salt`` is None for a pad wetted with plain water; ``closed_h`` is None before it is closed.
    """

    volume_l: float
    temp_c: float = 20.0
    rh_start_percent: float = 50.0
    salt: str | None = None
    days: float | None = None
    has_inhibitor: bool = False
    closed_h: float | None = None


def answer_chamber(knowledge: Knowledge, asked: ChamberQuestion) -> Answer:
    """Return water, humidity, mould time and looks of a rehydration chamber."""
    figures: list[Figure] = []
    sources: list[str] = []
    cautions: list[str] = []
    rh = WET_RH_PERCENT
    within("temperature", asked.temp_c, 0.1, 45.0, "C")
    if asked.salt is not None:
        salt = salt_named(knowledge, asked.salt)
        held = salt_rh(salt, asked.temp_c)
        rh = held.rh_percent
        figures += _salt_figures(salt, held, asked.temp_c)
        sources += [figure.source for figure in figures]
        cautions += [salt.caution] if salt.caution else []
    water = water_to_reach_mg(asked.volume_l, asked.temp_c, min(asked.rh_start_percent, rh), rh)
    figures.append(Figure("water the air takes up", short(water), "mg", "air alone, at most"))
    divisor, cap = (
        dose(knowledge, "chamber-mould-safety-divisor"),
        dose(knowledge, "chamber-mould-cap"),
    )
    mould = mould_limit(
        asked.temp_c,
        rh,
        divisor=divisor.most,
        cap_days_at_20_c=cap.most,
        has_inhibitor=asked.has_inhibitor,
    )
    figures.append(Figure("longest stay", short(mould.stay_days), "days", mould.standing))
    if mould.slow_estimate_days is not None:
        slow = short(mould.slow_estimate_days)
        figures.append(
            Figure("mould on clean wood", slow, "days", "slow end", "hukka-viitanen-1999")
        )
    days = mould.stay_days if asked.days is None else positive("days", asked.days, "days")
    if days > mould.stay_days:
        cautions.append(f"{days:g} days is longer than the {number(mould.stay_days)} to plan for.")
    figures += _look_figures(knowledge, days, asked.closed_h)
    acids, acid_sources = _vapour_figures(knowledge, asked.volume_l)
    return Answer(
        f"The air comes to {number(rh)} % RH; {_lower(mould.sentence)}",
        (Figure("relative humidity", short(rh), "%"), *figures, *acids),
        (*cautions, "The pad, not the air, is the store: wet it well, no drop may fall."),
        (
            "A tight box at one temperature; paper, cork and insect take up far more water.",
            f"Longest stay: {dose_note(divisor)} ({divisor.name}); {dose_note(cap)} ({cap.name}).",
        ),
        titled(
            knowledge,
            (*sources, "hukka-viitanen-1999", divisor.source, cap.source, *acid_sources),
        ),
    )


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _salt_figures(salt: Salt, held: Humidity, temp_c: float) -> list[Figure]:
    off = held.plus_minus_percent
    spread = "uncertainty not published here" if off is None else f"+/- {off:g} (k = 2)"
    found = [Figure(f"over {salt.name}", short(held.rh_percent), "%", spread, held.source)]
    second = exponential_rh(salt, temp_c)
    if second is not None and held.route != "exponential":
        off = second.plus_minus_percent
        note = "second source, for comparison" + (f", within {off:g}" if off else "")
        found.append(
            Figure(f"over {salt.name}", short(second.rh_percent), "%", note, second.source)
        )
    return found


def _look_figures(knowledge: Knowledge, days: float, closed_h: float | None) -> list[Figure]:
    first = dose(knowledge, "chamber-first-look")
    per_day = dose(knowledge, "chamber-looks-per-day")
    until = days * HOURS_PER_DAY
    if closed_h is not None:
        at_least("time closed", closed_h, 0.0, "h")
        coming = next_look_h(closed_h, first.most, per_day.most, until)
        note = "hours after closing" if coming is not None else "the planned stay is over: look now"
        return [Figure("next look", coming, "h", note, first.source)]
    looks = look_times_h(first.most, per_day.most, until)
    return [
        Figure(f"look {n}", short(each), "h", "hours after closing", first.source)
        for n, each in enumerate(looks[:SHOWN_LOOKS], start=1)
    ]


def _vapour_figures(knowledge: Knowledge, volume_l: float) -> tuple[list[Figure], list[str]]:
    """Return the vapour doses of the doses file for this box: some chambers work with one."""
    figures, sources = [], []
    for each in knowledge.doses.values():
        if each.kind == "vapour" and each.unit == "mL/L":
            least, most = short(each.least * volume_l), short(each.most * volume_l)
            name = f"if with vapour: {each.name}"
            figures.append(Figure(name, most, "mL", f"from {least:g}; {each.because}", each.source))
            sources.append(each.source)
    return figures, sources
