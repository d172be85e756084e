"""Well-mixed room: levels, doses and times for pulse, steady, drying and repeated releases.

All functions take the effective decay ``a = air changes / (60 K)`` [1/min], see ``decay_per_min``,
and hold at ``a = 0`` too. Mass balance ``V dC/dt = G - Q' C`` with ``Q' = a V``: no sinks, clean
make-up air, full mixing but for ``K``. The level at the face can be higher (``near_field``).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from triage.exposure.maths import Floats, checked, phi1, phi1_slope, phi2
from triage.units import at_least, within

MOST_AIR_CHANGES_PER_H = 500.0
LEAST_DECAY_PER_MIN = 1e-12
"""Slower than this counts as no air at all when a time is asked for."""


def decay_per_min(air_changes_per_h: float | None, mixing_factor: float = 1.0) -> float:
    """Return the effective decay [1/min]; unknown air changes (None) count as none.

    Parameters
    ----------
    air_changes_per_h fresh air per room volume [1/h], 0 to 500
    mixing_factor     K, 1 (perfect) to 10 (very poor distribution)

    Source
    ------
    CDC, MMWR 43 no. RR-13, 28 October 1994, Table S3-1 and its note on the mixing factor.
    """
    factor = within("mixing factor", mixing_factor, 1.0, 10.0, "")
    if air_changes_per_h is None:
        return 0.0
    changes = within("air changes", air_changes_per_h, 0.0, MOST_AIR_CHANGES_PER_H, "1/h")
    return changes / (60.0 * factor)


def _inputs(volume_m3: ArrayLike, decay: ArrayLike, minutes: ArrayLike) -> tuple[Floats, ...]:
    return (
        checked("room volume", volume_m3, "m3", 0.0, above_least=True),
        checked("decay", decay, "1/min"),
        checked("time", minutes, "min"),
    )


def pulse_level(
    mass_mg: ArrayLike, volume_m3: ArrayLike, decay: ArrayLike, minutes: ArrayLike
) -> Floats:
    """Return the level after a mass evaporated at once, ``(m/V) exp(-a t)`` [mg/m3]."""
    volume, rate, time = _inputs(volume_m3, decay, minutes)
    return np.asarray(checked("mass", mass_mg, "mg") / volume * np.exp(-rate * time))


def pulse_dose(
    mass_mg: ArrayLike, volume_m3: ArrayLike, decay: ArrayLike, minutes: ArrayLike
) -> Floats:
    """Return the integral of ``pulse_level`` from the release on [mg min/m3]."""
    volume, rate, time = _inputs(volume_m3, decay, minutes)
    return np.asarray(checked("mass", mass_mg, "mg") / volume * time * phi1(rate * time))


def steady_level(
    rate_mg_per_min: ArrayLike,
    volume_m3: ArrayLike,
    decay: ArrayLike,
    minutes: ArrayLike,
    *,
    stop_min: ArrayLike = 1e12,
    start_mg_per_m3: ArrayLike = 0.0,
) -> Floats:
    """Return the level of a steady release from time 0 to ``stop_min``, then decay [mg/m3]."""
    volume, rate, time = _inputs(volume_m3, decay, minutes)
    on = np.minimum(time, checked("end of release", stop_min, "min"))
    source = checked("release rate", rate_mg_per_min, "mg/min")
    built = source / volume * on * phi1(rate * on) * np.exp(-rate * (time - on))
    start = checked("level at the start", start_mg_per_m3, "mg/m3")
    return np.asarray(built + start * np.exp(-rate * time))


def steady_dose(
    rate_mg_per_min: ArrayLike,
    volume_m3: ArrayLike,
    decay: ArrayLike,
    minutes: ArrayLike,
    *,
    stop_min: ArrayLike = 1e12,
) -> Floats:
    """Return the integral of ``steady_level`` (clean start) up to a time [mg min/m3]."""
    volume, rate, time = _inputs(volume_m3, decay, minutes)
    on = np.minimum(time, checked("end of release", stop_min, "min"))
    source = checked("release rate", rate_mg_per_min, "mg/min") / volume
    after = time - on
    at_stop = source * on * phi1(rate * on)
    return np.asarray(source * on**2 * phi2(rate * on) + at_stop * after * phi1(rate * after))


def drying_level(
    mass_mg: ArrayLike,
    alpha_per_min: ArrayLike,
    volume_m3: ArrayLike,
    decay: ArrayLike,
    minutes: ArrayLike,
) -> Floats:
    """Return the level of the exponential source ``alpha m exp(-alpha t)`` [mg/m3].

    Notes
    -----
    Written with the slower of the two rates outside, so that equal rates need no special case.
    """
    volume, rate, time = _inputs(volume_m3, decay, minutes)
    alpha = checked("alpha", alpha_per_min, "1/min")
    slow, gap = np.minimum(alpha, rate), np.abs(alpha - rate)
    shape = np.exp(-slow * time) * time * phi1(gap * time)
    return np.asarray(alpha * checked("mass", mass_mg, "mg") / volume * shape)


def drying_dose(
    mass_mg: ArrayLike,
    alpha_per_min: ArrayLike,
    volume_m3: ArrayLike,
    decay: ArrayLike,
    minutes: ArrayLike,
) -> Floats:
    """Return the integral of ``drying_level`` up to a time [mg min/m3]."""
    volume, rate, time = _inputs(volume_m3, decay, minutes)
    alpha = checked("alpha", alpha_per_min, "1/min")
    gap = alpha - rate
    close = np.abs(gap * time) < 1e-5
    apart = time * (phi1(rate * time) - phi1(alpha * time)) / np.where(close, 1.0, gap)
    touching = -(time**2) * phi1_slope(0.5 * (alpha + rate) * time)
    mass = checked("mass", mass_mg, "mg")
    return np.asarray(alpha * mass / volume * np.where(close, touching, apart))


def drying_peak_min(alpha_per_min: float, decay: float) -> float:
    """Return when the exponential source gives its highest room level [min]; inf without air."""
    alpha = at_least("alpha", alpha_per_min, 0.0, "1/min")
    rate = at_least("decay", decay, 0.0, "1/min")
    if alpha == 0.0 or rate == 0.0:
        return float("inf")
    if abs(alpha - rate) < 1e-9 * alpha:
        return 1.0 / alpha
    return float(np.log(alpha / rate) / (alpha - rate))


def repeated_pulses_level(
    mass_mg: float,
    every_min: float,
    count: int,
    *,
    volume_m3: float,
    decay: float,
    minutes: ArrayLike,
) -> Floats:
    """Return the level of equal pulses at 0, ``every_min``, ... [mg/m3], shape of ``minutes``."""
    volume, rate, time = _inputs(volume_m3, decay, minutes)
    number = int(within("count of pulses", count, 1, 100_000, ""))
    since = time[..., None] - within("interval", every_min, 0.0, 1e6, "min") * np.arange(number)
    decayed = np.where(since >= 0.0, np.exp(-rate * np.maximum(since, 0.0)), 0.0)
    return np.asarray(at_least("mass", mass_mg, 0.0, "mg") / volume * decayed.sum(axis=-1))


def repeated_pulses_peak(mass_mg: float, every_min: float, volume_m3: float, decay: float) -> float:
    """Return the peak after very many equal pulses, ``(m/V)/(1 - exp(-a tau))`` [mg/m3]."""
    volume, rate, every = _inputs(volume_m3, decay, every_min)
    fall = -np.expm1(-rate * every)
    single = at_least("mass", mass_mg, 0.0, "mg") / float(volume)
    return single / float(fall) if fall > 0.0 else float("inf" if single > 0.0 else 0.0)


def minutes_to_rise(
    rate_mg_per_min: float, volume_m3: float, decay: float, target_mg_per_m3: float
) -> float:
    """Return when a steady release from clean air reaches a level [min]; inf if it never does."""
    volume, rate, _ = _inputs(volume_m3, decay, 0.0)
    source = at_least("release rate", rate_mg_per_min, 0.0, "mg/min")
    target = at_least("target", target_mg_per_m3, 0.0, "mg/m3")
    flow = float(rate * volume)
    if target == 0.0:
        return 0.0
    if source <= flow * target:
        return float("inf")
    if flow == 0.0:
        return target * float(volume) / source
    return float(-np.log1p(-flow * target / source) / rate)


def minutes_to_fall(start_mg_per_m3: float, target_mg_per_m3: float, decay: float) -> float:
    """Return how long a decay takes [min]: 0 if already there, inf without air or to zero."""
    start = at_least("level at the start", start_mg_per_m3, 0.0, "mg/m3")
    target = at_least("target", target_mg_per_m3, 0.0, "mg/m3")
    rate = at_least("decay", decay, 0.0, "1/min")
    if start <= target:
        return 0.0
    if rate < LEAST_DECAY_PER_MIN or target == 0.0:
        return float("inf")
    return float(np.log(start / target) / rate)


def worst_window_mean(minutes: ArrayLike, dose: ArrayLike, window_min: float) -> float:
    """Return the highest mean over any window of a curve given by its running integral.

    Parameters
    ----------
    minutes    rising times, shape (n,) [min]
    dose       integral of the level from the first time, shape (n,) [mg min/m3]
    window_min length [min], > 0; if longer than the curve, the dose is still divided by it

    Notes
    -----
    Windows start at the given times or end at them; give times dense enough for the curve.
    """
    times = checked("time", minutes, "min", -1e9)
    running = checked("dose", dose, "mg min/m3")
    window = float(checked("window", window_min, "min", 0.0, above_least=True))
    from_start = np.interp(times + window, times, running) - running
    to_end = running - np.interp(times - window, times, running)
    return float(max(from_start.max(), to_end.max()) / window)
