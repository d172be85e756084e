"""Judge one release in one room on top of the day: figures, limits, fire, re-entry, amount."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from triage.exposure import wording
from triage.exposure.day import Release
from triage.exposure.gas import ppm_from_mg_per_m3
from triage.exposure.space import HIGH, Room, minutes_to_fall, with_control
from triage.exposure.step import USUAL, StepOnDay, Terms, Yardstick
from triage.exposure.substance import (
    DAY_MIN,
    JUST_OVER,
    LEVEL_WINDOWS,
    AirVerdict,
    Levels,
    Limit,
    LimitRatio,
    Span,
    Substance,
    Word,
    allowed_fraction,
    is_silent,
    judged_limits,
    strictest_per_window,
)
from triage.knowledge.methods import AirControl
from triage.units import within


def _measured(step: StepOnDay, amount: float, judged: tuple[Limit, ...]) -> AirVerdict:
    """Return what a step comes to against limits, the day's other agents and fire, unjudged yet."""
    substance, terms, ratios, yardsticks = step.substance, step.terms, [], []
    for limit in substance.limits:
        window, is_judged = limit.window_min, limit in judged
        high, share = step.level(window, amount)[1].high, allowed_fraction(limit, terms.margin)
        ratio, allowed = high / limit.value_mg_per_m3, limit.value_mg_per_m3 * share
        ratios.append(LimitRatio(limit, high, ratio, share, ratio / share, is_judged))
        # A limit above saturation cannot be exceeded by this agent: it does not bound the amount.
        if is_judged and step.source.cap_mg_per_m3 > allowed:
            yardsticks.append(step.own(window, 1.0 / allowed))
    ratios.sort(key=lambda each: (-each.factor, each.limit.authority, each.limit.basis))
    summed, fire = _mixture(step, judged), _fire_yardstick(step)
    mixture = {window: test.factor(amount) for window, test in summed.items()}
    factors = [*(each.factor for each in ratios if each.is_judged), *mixture.values()]
    lel = None
    if fire is not None:
        factors.append(fire.factor(amount))
        lel = factors[-1] * terms.lel_share
        yardsticks.append(fire)
    levels = zip(*(step.level(window, amount) for window in LEVEL_WINDOWS), strict=True)
    there, near = (Levels(*spans) for spans in levels)
    flash, molar = substance.flash_point_c, substance.molar_mass_g_per_mol
    has_ppm = substance.airborne == "vapour" and molar is not None
    return AirVerdict(
        verdict="ok",
        room=there,
        near=near,
        sentence="",
        assumptions=wording.assumptions(step.room, step.minutes, step.source.notes),
        flags=substance.flags,
        ppm_per_mg=ppm_from_mg_per_m3(1.0, molar) if has_ppm and molar else None,
        ratios=tuple(ratios),
        exceeded_by=max(factors, default=0.0),
        mixture=mixture,
        lel_fraction=lel,
        can_ignite=None if flash is None else flash <= step.temp_c,
        reentry_min=_reentry(step, amount, judged),
        largest_ok_ml=min((t.largest_ml() for t in (*yardsticks, *summed.values())), default=None),
    )


def _mixture(step: StepOnDay, judged: tuple[Limit, ...]) -> dict[float, Yardstick]:
    """Return the additive rule per averaging window over the step and the day's other agents."""
    own, found = strictest_per_window(judged, step.terms.margin), {}
    others = step.strictest_of_others()
    for window in sorted(own, reverse=True):
        per_agent = {key: 1.0 / each[window] for key, each in others.items() if window in each}
        if per_agent:
            per_agent[step.substance.key] = 1.0 / own[window]
            found[window] = step.mixed(window, per_agent)
    return found


def _fire_yardstick(step: StepOnDay) -> Yardstick | None:
    """Return the test against a share of the lower flammable limit, all vapours of the day."""
    per_agent = {}
    for each in (*step.ledger.substances, step.substance):
        if each.lel_percent is not None and each.molar_mass_g_per_mol is not None:
            # In the room's own air, not at the 25 C of the limits.
            air = step.temp_c, step.room.pressure_kpa
            ppm = ppm_from_mg_per_m3(1.0, each.molar_mass_g_per_mol, *air)
            per_agent[each.key] = ppm / (each.lel_percent * 1e4) / step.terms.lel_share
    return step.mixed(0.0, per_agent) if step.substance.key in per_agent else None


def judge_release(
    substance: Substance, amount_ml: float, room: Room, minutes: float, terms: Terms = USUAL
) -> AirVerdict:
    """Judge one release in one room on top of the day's earlier releases.

    Parameters
    ----------
    amount_ml put down in this pass [mL], >= 0
    room      room, ventilation and spread of the uncertain inputs
    minutes   shortest time in which it can evaporate [min], 0 to 1440; 0 = at once

    Returns
    -------
    AirVerdict, judged at the face and at the unfavourable end of the band, whose corners are exact.
    """
    amount = within("amount", amount_ml, 0.0, 1e6, "mL")
    last = within("minutes of release", minutes, 0.0, 1440.0, "min")
    if substance.airborne == "none":
        nothing = Levels(*[Span(0.0, 0.0, 0.0)] * 3)
        unheld = ("Nothing leaves the liquid as vapour.",)
        told = wording.NOTHING_AIRBORNE
        return AirVerdict("ok", nothing, nothing, told, unheld, substance.flags)
    step = StepOnDay(substance, room, last, terms)
    judged = judged_limits(substance, terms.judge_by)
    found = _measured(step, amount, judged)
    # A flammable gas without a known flash point counts as able to light.
    lights = substance.lel_percent is not None if found.can_ignite is None else found.can_ignite
    # A danger-to-life level alone is no working limit.
    is_limited = any(limit.basis != "idlh" for limit in judged)
    word: Word = "ok" if is_limited or terms.no_limit_ok else "unknown"
    if found.exceeded_by > JUST_OVER or (terms.ignition_source and lights):
        word = "over"
    largest = found.largest_ok_ml if is_limited and step.source.is_bounded_by_mass else None
    if largest is not None:
        # A cap by saturation can allow more than the straight line through the origin.
        most = max(largest, amount) if word == "ok" else largest
        largest = most if np.isfinite(most) else None
    found = replace(found, verdict=word, largest_ok_ml=largest)
    return replace(found, sentence=" ".join((_sentence(found, substance), *_instead(step))))


def _reentry(step: StepOnDay, amount: float, judged: tuple[Limit, ...]) -> float | None:
    """Return minutes of airing, as if all of the step had evaporated at its end; None = never."""
    strictest = step.strictest_of_others()
    strictest[step.substance.key] = strictest_per_window(judged, step.terms.margin)
    allowed = {
        key: 1.0 / found.get(DAY_MIN, min(found.values()))
        for key, found in strictest.items()
        if found
    }
    if step.substance.key not in allowed:
        return None
    day, per_ml = step.weights(allowed)
    on_day = step.corners.at_starts(day, 0.0)[0][step.place, HIGH]
    own_level = step.corners.at_starts(per_ml, 0.0)[0][step.place, HIGH] * amount
    cap = step.source.cap_mg_per_m3 * allowed[step.substance.key]
    index = float(on_day + min(own_level, cap))
    minutes = minutes_to_fall(index, 1.0, float(step.corners.spread.decay_per_min[HIGH]))
    return minutes if np.isfinite(minutes) else None


def _sentence(found: AirVerdict, substance: Substance) -> str:
    binding, largest, worst = found.binding, found.largest_ok_ml, found.exceeded_by
    # Without any limit nothing was held against one; the sentence must not sound like it.
    is_unjudged = not substance.limits and found.lel_fraction is None
    if found.verdict == "unknown" or (found.verdict == "ok" and is_unjudged):
        return wording.no_limit(substance, found.near.peak.high)
    if found.verdict == "ok":
        return wording.within_limits(binding)
    if worst <= JUST_OVER:
        return wording.IGNITION
    if binding is not None and binding.factor >= worst:
        return wording.over_limit(binding, largest)
    for window, factor in found.mixture.items():
        if factor >= worst:
            return wording.over_mixture(factor, window, largest)
    return wording.over_fire(found.lel_fraction or 0.0, largest)


def _instead(step: StepOnDay) -> tuple[str, ...]:
    """Return what is judged by other limits than those of the authority that was chosen."""
    by, agents = step.terms.judge_by, (step.substance, *step.ledger.substances)
    silent = {each.key: each for each in agents if is_silent(each, by)}
    return tuple(wording.judged_instead(each, by or "") for each in silent.values())


SMALLER = 0.999
"""A found amount is shown a little smaller, so that rounding never lifts it over the limit."""


def cheapest_control(
    controls: Iterable[AirControl],
    substance: Substance,
    amount_ml: float,
    room: Room,
    minutes: float,
    terms: Terms = USUAL,
) -> AirControl | None:
    """Return the cheapest control under which the release is ok; None if none of them serves.

    ``controls`` are the choices; doing nothing can be one of them (rank 0).
    """
    for control in sorted(controls, key=lambda each: (each.cost_rank, each.id)):
        there = with_control(room, control)
        if judge_release(substance, amount_ml, there, minutes, terms).verdict == "ok":
            return control
    return None


def largest_day_ml(
    substance: Substance,
    room: Room,
    minutes: float,
    passes: int = 1,
    every_min: float = 0.0,
    terms: Terms = USUAL,
) -> float | None:
    """Return the largest amount for a day of equal passes [mL in all].

    The first pass starts when the day's ledger ends, the next ``every_min`` later; 0 = all at once,
    the safest reading. None = no limit to go by, or none binds.
    """
    count = int(within("passes", passes, 1, 500, ""))
    gap = within("time between passes", every_min, 0.0, 1440.0, "min")
    before = terms.ledger
    single = judge_release(substance, 0.0, room, minutes, terms).largest_ok_ml
    if single is None or count == 1 or single == 0.0:
        return single
    # An amount was found, so a density is known: without one there is no largest amount.
    start = before.last_min if before.now_min is None else before.now_min
    per_ml = (substance.density_g_per_ml or 0.0) * 1000.0 * terms.strength_fraction

    def factor(each_ml: float) -> float:
        earlier = (
            Release(start + k * gap, each_ml * per_ml, substance.key, minutes)
            for k in range(count - 1)
        )
        ledger, moment = before.added(earlier, (substance,)), start + (count - 1) * gap
        last = replace(terms, ledger=ledger, at_min=moment)
        return judge_release(substance, each_ml, room, minutes, last).exceeded_by

    if factor(0.0) > 1.0:  # the day itself is too much by then, without any pass
        return 0.0
    if factor(single) <= 1.0:  # no pass adds to another: the day holds as many as it has time for
        return single * count
    from scipy.optimize import brentq  # noqa: PLC0415  (slow to import, seldom needed)

    return float(brentq(lambda each: factor(each) - 1.0, 0.0, single)) * count * SMALLER


def least_air_changes(
    substance: Substance,
    amount_ml: float,
    room: Room,
    minutes: float,
    most_per_h: float = 60.0,
    terms: Terms = USUAL,
) -> float | None:
    """Return the least air changes that make the release ok [1/h]; None if even the most do not.

    The peak of a release at once, and the addition at the face, do not fall with air changes.
    """
    most = within("most air changes", most_per_h, 0.0, 500.0, "1/h")

    def excess(changes: float) -> float:
        there = replace(room, air_changes_per_h=changes)
        return judge_release(substance, amount_ml, there, minutes, terms).exceeded_by - 1.0

    if excess(0.0) <= 0.0:
        return 0.0
    if excess(most) > 0.0:
        return None
    from scipy.optimize import brentq  # noqa: PLC0415  (as above)

    found = float(brentq(excess, 0.0, most, xtol=1e-9))
    return min(found / SMALLER, most)
