"""Hold a step against limits, the additive rule over agents, and the flammable limit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from triage.exposure.gas import ppm_from_mg_per_m3
from triage.exposure.step import StepOnDay, Terms, Yardstick
from triage.exposure.substance import Limit, allowed_fraction, judged_limits, strictest_per_window
from triage.exposure.verdict import JUST_OVER, LimitRatio, MixtureRatio, Span, Word


@dataclass(frozen=True)
class Tests:
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


def hold(step: StepOnDay, amount: float, levels: dict[float, tuple[Span, Span]]) -> Tests:
    """Hold the step against its limits, the additive rule and the flammable limit."""
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
    return Tests(judged, tuple(ratios), mixture, lel, max(factors, default=0.0), largest)


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


def word_of(tests: Tests, terms: Terms, *, can_ignite: bool | None, has_lel: bool) -> Word:
    """Return the verdict; a flammable gas without a known flash point counts as able to light."""
    lights = can_ignite or (can_ignite is None and has_lel)
    if tests.worst > JUST_OVER or (terms.ignition_source and lights):
        return "over"
    return "ok" if tests.is_limited or terms.no_limit_ok else "unknown"
