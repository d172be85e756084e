"""Judge one release in one room on top of the day: figures, limits, fire, re-entry, amount."""

from __future__ import annotations

import numpy as np

from triage.exposure import wording
from triage.exposure.gas import ppm_from_mg_per_m3
from triage.exposure.hold import Tests, hold, word_of
from triage.exposure.space import Room, minutes_to_fall
from triage.exposure.step import HIGH, USUAL, StepOnDay, Terms
from triage.exposure.substance import (
    DAY_MIN,
    SHORT_MIN,
    Limit,
    Substance,
    is_silent,
    judged_limits,
    strictest_per_window,
)
from triage.exposure.verdict import JUST_OVER, AirVerdict, Figures, Level, Span, Word
from triage.units import within


def judge_release(
    substance: Substance, amount_ml: float, room: Room, minutes: float, terms: Terms = USUAL
) -> AirVerdict:
    """Judge one release in one room on top of the day's earlier releases.

    Parameters
    ----------
    substance the agent; every figure and limit comes with it
    amount_ml put down in this pass [mL], >= 0
    room      room, ventilation and spread of the uncertain inputs
    minutes   shortest time in which it can evaporate [min], 0 to 1440; 0 = at once
    terms     by what it is judged

    Returns
    -------
    AirVerdict, judged at the face and at the unfavourable end of the band, whose corners are exact.

    Raises
    ------
    OutOfRange: an input is out of range, or neither density nor molar mass is known.
    """
    amount = within("amount", amount_ml, 0.0, 1e6, "mL")
    last = within("minutes of release", minutes, 0.0, 1440.0, "min")
    if substance.airborne == "none":
        return _nothing_airborne(substance)
    step = StepOnDay(substance, room, last, terms)
    levels = {w: step.level(w, amount) for w in (0.0, SHORT_MIN, DAY_MIN)}
    tests = hold(step, amount, levels)
    flash = substance.flash_point_c
    can_ignite = None if flash is None else flash <= step.temp_c
    word = word_of(tests, terms, can_ignite=can_ignite, has_lel=substance.lel_percent is not None)
    largest: float | None = None
    if tests.is_limited and step.source.is_bounded_by_mass:
        # A cap by saturation can allow more than the straight line through the origin.
        most = max(tests.largest_ml, amount) if word == "ok" else tests.largest_ml
        largest = most if np.isfinite(most) else None
    said = _sentence(word, tests, substance, levels[0.0][1].high, largest)
    return AirVerdict(
        verdict=word,
        room=_figures(substance, [room for room, _ in levels.values()]),
        near=_figures(substance, [near for _, near in levels.values()]),
        ratios=tests.ratios,
        binding=next((ratio for ratio in tests.ratios if ratio.is_judged), None),
        exceeded_by=tests.worst,
        mixture=tests.mixture,
        lel_fraction=tests.lel_fraction,
        can_ignite=can_ignite,
        reentry_min=_reentry(step, amount, tests.judged),
        largest_ok_ml=largest,
        flags=substance.flags,
        sentence=" ".join((said, *_instead(step))),
        assumptions=wording.assumptions(step.room, last, step.source.notes),
    )


def _reentry(step: StepOnDay, amount: float, judged: tuple[Limit, ...]) -> float | None:
    """Return minutes of airing, as if all of the step had evaporated at its end; None = never."""
    terms, allowed = step.terms, {}
    for each in (*step.ledger.substances, step.substance):
        own = each.key == step.substance.key
        limits = judged if own else judged_limits(each, terms.judge_by)
        found = strictest_per_window(limits, terms.margin)
        if found:
            allowed[each.key] = 1.0 / found.get(DAY_MIN, min(found.values()))
    if step.substance.key not in allowed:
        return None
    day, per_ml = step.weights(allowed)
    on_day = step.corners.at_starts(day, 0.0)[0][step.place, HIGH]
    own_level = step.corners.at_starts(per_ml, 0.0)[0][step.place, HIGH] * amount
    cap = step.source.cap_mg_per_m3 * allowed[step.substance.key]
    index = float(on_day + min(own_level, cap))
    minutes = minutes_to_fall(index, 1.0, float(step.corners.spread.decay_per_min[HIGH]))
    return minutes if np.isfinite(minutes) else None


def _figures(substance: Substance, spans: list[Span]) -> Figures:
    molar = substance.molar_mass_g_per_mol if substance.airborne == "vapour" else None
    per_mg = None if molar is None else ppm_from_mg_per_m3(1.0, molar)
    return Figures(*(Level(span, None if per_mg is None else span.times(per_mg)) for span in spans))


def _sentence(
    word: Word, tests: Tests, substance: Substance, peak: float, largest: float | None
) -> str:
    binding = next((each for each in tests.ratios if each.is_judged), None)
    # Without any limit nothing was held against one; the sentence must not sound like it.
    is_unjudged = not substance.limits and tests.lel_fraction is None
    if word == "unknown" or (word == "ok" and is_unjudged):
        return wording.no_limit(substance, peak)
    if word == "ok":
        return wording.within_limits(binding)
    if tests.worst <= JUST_OVER:
        return wording.ignition()
    if binding is not None and binding.factor >= tests.worst:
        return wording.over_limit(binding, largest)
    summed = max(tests.mixture, key=lambda each: each.factor, default=None)
    if summed is not None and summed.factor >= tests.worst:
        return wording.over_mixture(summed.factor, summed.window_min, largest)
    return wording.over_fire(tests.lel_fraction or 0.0, largest)


def _instead(step: StepOnDay) -> tuple[str, ...]:
    """Return what is judged by other limits than those of the authority that was chosen."""
    by, agents = step.terms.judge_by, (step.substance, *step.ledger.substances)
    silent = {each.key: each for each in agents if is_silent(each, by)}
    return tuple(wording.judged_instead(each, by or "") for each in silent.values())


def _nothing_airborne(substance: Substance) -> AirVerdict:
    zero = Level(Span(0.0, 0.0, 0.0), None)
    figures = Figures(zero, zero, zero)
    flags, told = substance.flags, wording.nothing_airborne()
    unheld = ("Nothing leaves the liquid as vapour.",)
    return AirVerdict(
        "ok", figures, figures, (), None, 0.0, (), None, None, 0.0, None, flags, told, unheld
    )
