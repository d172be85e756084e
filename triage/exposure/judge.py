"""Judge one release in one room on top of the day: figures, limits, fire, re-entry, amount."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from triage.exposure import wording
from triage.exposure.day import Release
from triage.exposure.gas import ppm_from_mg_per_m3
from triage.exposure.space import HIGH, Room, minutes_to_fall, with_control
from triage.exposure.step import USUAL, StepOnDay, Terms, Yardstick
from triage.exposure.substance import (
    DAY_MIN,
    JUST_OVER,
    SHORT_MIN,
    AirVerdict,
    Figures,
    Level,
    Limit,
    LimitRatio,
    MixtureRatio,
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


@dataclass(frozen=True)
class _Tests:
    """Everything the step was held against."""

    judged: tuple[Limit, ...]
    ratios: tuple[LimitRatio, ...]
    mixture: tuple[MixtureRatio, ...]
    lel_fraction: float | None
    worst: float
    largest_ml: float

    @property
    def is_limited(self) -> bool:
        """Whether any working limit stands; a danger-to-life level alone is none."""
        return any(limit.basis != "idlh" for limit in self.judged)

    @property
    def binding(self) -> LimitRatio | None:
        """The judged limit with the largest factor."""
        return next((ratio for ratio in self.ratios if ratio.is_judged), None)


def _hold(step: StepOnDay, amount: float, levels: dict[float, tuple[Span, Span]]) -> _Tests:
    terms = step.terms
    judged = judged_limits(step.substance, terms.judge_by)
    ratios, yardsticks = [], []
    for limit in step.substance.limits:
        window, is_judged = limit.window_min, limit in judged
        found = levels.get(window) or step.level(window, amount)
        high, share = found[1].high, allowed_fraction(limit, terms.margin)
        ratio, allowed = high / limit.value_mg_per_m3, limit.value_mg_per_m3 * share
        ratios.append(LimitRatio(limit, high, ratio, share, ratio / share, is_judged))
        # A limit above saturation cannot be exceeded by this agent: it does not bound the amount.
        if is_judged and step.source.cap_mg_per_m3 > allowed:
            yardsticks.append(step.own(window, 1.0 / allowed))
    ratios.sort(key=lambda each: (-each.factor, each.limit.authority, each.limit.basis))
    mixture, summed = _mixture(step, amount, judged)
    fire = _fire_yardstick(step)
    factors = [each.factor for each in ratios if each.is_judged]
    factors += [each.factor for each in mixture]
    lel = None
    if fire is not None:
        factors.append(fire.factor(amount))
        lel = factors[-1] * terms.lel_share
        yardsticks.append(fire)
    largest = min((each.largest_ml() for each in yardsticks + summed), default=np.inf)
    return _Tests(judged, tuple(ratios), mixture, lel, max(factors, default=0.0), largest)


def _mixture(
    step: StepOnDay, amount: float, judged: tuple[Limit, ...]
) -> tuple[tuple[MixtureRatio, ...], list[Yardstick]]:
    """Return the additive rule per averaging window over the step and the day's other agents."""
    terms = step.terms
    own, ratios, yardsticks = strictest_per_window(judged, terms.margin), [], []
    others = {}
    for key in step.ledger.agents():
        if key != step.substance.key:
            limits = judged_limits(step.ledger.substance(key), terms.judge_by)
            others[key] = strictest_per_window(limits, terms.margin)
    for window in sorted(own, reverse=True):
        per_agent = {key: 1.0 / each[window] for key, each in others.items() if window in each}
        if not per_agent:
            continue
        per_agent[step.substance.key] = 1.0 / own[window]
        test = step.mixed(window, per_agent)
        yardsticks.append(test)
        ratios.append(MixtureRatio(window, test.factor(amount), tuple(sorted(per_agent))))
    return tuple(ratios), yardsticks


def _fire_yardstick(step: StepOnDay) -> Yardstick | None:
    """Return the test against a share of the lower flammable limit, all vapours of the day."""
    per_agent = {}
    for each in (*step.ledger.substances, step.substance):
        if each.lel_percent is not None and each.molar_mass_g_per_mol is not None:
            # In the room's own air, not at the 25 C of the limits.
            air = step.temp_c, step.room.pressure_kpa
            ppm = ppm_from_mg_per_m3(1.0, each.molar_mass_g_per_mol, *air)
            per_agent[each.key] = ppm / (each.lel_percent * 1e4) / step.terms.lel_share
    if step.substance.key not in per_agent:
        return None
    return step.mixed(0.0, per_agent)


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
    tests = _hold(step, amount, levels)
    flash = substance.flash_point_c
    can_ignite = None if flash is None else flash <= step.temp_c
    # A flammable gas without a known flash point counts as able to light.
    lights = can_ignite or (can_ignite is None and substance.lel_percent is not None)
    word: Word = "ok" if tests.is_limited or terms.no_limit_ok else "unknown"
    if tests.worst > JUST_OVER or (terms.ignition_source and lights):
        word = "over"
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
        binding=tests.binding,
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
    word: Word, tests: _Tests, substance: Substance, peak: float, largest: float | None
) -> str:
    binding = tests.binding
    # Without any limit nothing was held against one; the sentence must not sound like it.
    is_unjudged = not substance.limits and tests.lel_fraction is None
    if word == "unknown" or (word == "ok" and is_unjudged):
        return wording.no_limit(substance, peak)
    if word == "ok":
        return wording.within_limits(binding)
    if tests.worst <= JUST_OVER:
        return wording.IGNITION
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
    flags, told = substance.flags, wording.NOTHING_AIRBORNE
    unheld = ("Nothing leaves the liquid as vapour.",)
    return AirVerdict(
        "ok", figures, figures, (), None, 0.0, (), None, None, 0.0, None, flags, told, unheld
    )


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

    Parameters
    ----------
    minutes   release time of each pass [min]
    passes    how many, 1 to 500; the first starts when the day's ledger ends
    every_min from start to start [min]; 0 = all at once, the safest reading
    terms     by what is judged; its ledger counts before the first pass

    Returns
    -------
    Total of all passes; None = no limit to go by, or none binds.

    Raises
    ------
    OutOfRange: an input is out of range.
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

    Notes
    -----
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
