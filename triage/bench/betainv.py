"""Quantiles of the beta distribution for a few numbers, without a library that is slow to import.

A whole column of them is better asked of scipy; the tests hold both to each other.
"""

from __future__ import annotations

import math
from functools import lru_cache

from triage.errors import OutOfRange
from triage.units import positive, within

_TINY = 1e-300
_STEPS = 20_000
_HALVINGS = 2_000


def beta_cdf(a: float, b: float, at: float) -> float:
    """Return the chance [fraction] that a Beta(a, b) rate is at most ``at`` [fraction].

    Source
    ------
    The regularised incomplete beta function by its continued fraction, Digital Library of
    Mathematical Functions 8.17.22; the mirror I_x(a, b) = 1 - I_1-x(b, a) is 8.17.4 (from
    memory; held against scipy).
    """
    if at <= 0.0 or at >= 1.0:
        return float(at >= 1.0)
    if at > (a + 1.0) / (a + b + 2.0):
        return 1.0 - beta_cdf(b, a, 1.0 - at)
    return math.exp(_log_front(a, b, at)) / a / _fraction(a, b, at)


def _log_front(a: float, b: float, at: float) -> float:
    """Return the logarithm of x^a (1 - x)^b / B(a, b)."""
    log_beta = math.lgamma(a) + math.lgamma(b) - math.lgamma(a + b)
    return a * math.log(at) + b * math.log1p(-at) - log_beta


def _fraction(a: float, b: float, at: float) -> float:
    """Return 1 + d1/(1 + d2/(1 + ...)) by the modified method of Lentz."""
    value, up, down = 1.0, 1.0, 0.0
    for number in range(1, _STEPS):
        m = number // 2
        if number % 2:
            d = -(a + m) * (a + b + m) * at / ((a + 2 * m) * (a + 2 * m + 1))
        else:
            d = m * (b - m) * at / ((a + 2 * m - 1) * (a + 2 * m))
        down = 1.0 / ((1.0 + d * down) or _TINY)
        up = (1.0 + d / up) or _TINY
        value *= up * down
        if abs(up * down - 1.0) < 1e-16:
            return value
    raise OutOfRange(f"Beta({a:g}, {b:g}) is too narrow to sum", mend="give smaller counts")


@lru_cache(maxsize=4096)
def beta_quantile(a: float, b: float, chance: float) -> float:
    """Return the rate [fraction] below which a Beta(a, b) rate lies with probability ``chance``.

    Parameters
    ----------
    a, b   of the distribution, > 0
    chance probability [fraction], 0 to 1

    Raises
    ------
    OutOfRange: a or b is not above 0, or the chance is no fraction.

    Notes
    -----
    Newton's steps on the distribution function, kept between two ends that close in on the
    quantile; a step that would leave them is replaced by halving. Within 1e-9 of scipy.
    """
    positive("beta a", a, "")
    positive("beta b", b, "")
    within("chance", chance, 0.0, 1.0, "fraction")
    if chance in (0.0, 1.0):
        return chance
    low, high, at = 0.0, 1.0, a / (a + b)
    for _ in range(_HALVINGS):
        off = beta_cdf(a, b, at) - chance
        if off == 0.0:
            break
        low, high = (low, at) if off > 0.0 else (at, high)
        log_density = _log_front(a, b, at) - math.log(at) - math.log1p(-at)
        step = off / math.exp(log_density) if -690.0 < log_density < 690.0 else math.inf
        new = at - step
        if not low < new < high:
            new = (low + high) / 2.0
        if abs(new - at) <= 1e-15 * at or not low < new < high:
            at = new if low < new < high else at
            break
        at = new
    return at
