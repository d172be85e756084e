"""How often something worked: k of n with an honest interval, prediction and pooling.

All of it assumes trials that are independent and alike. Records are not: what worked is logged
more readily, and one specimen tried twice is not two. So n is always shown.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from statistics import NormalDist

from triage.errors import OutOfRange
from triage.units import positive, within


@dataclass(frozen=True, slots=True)
class BetaPrior:
    """What is believed of a rate before counting: Beta(a, b), with a name to show."""

    a: float
    b: float
    name: str

    def __post_init__(self) -> None:
        positive("prior a", self.a, "")
        positive("prior b", self.b, "")

    @property
    def mean(self) -> float:
        """Mean of the prior [fraction]."""
        return self.a / (self.a + self.b)

    @property
    def strength(self) -> float:
        """Weight of the prior in trials."""
        return self.a + self.b


UNIFORM = BetaPrior(1.0, 1.0, "uniform")
JEFFREYS = BetaPrior(0.5, 0.5, "Jeffreys")


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate from k of n: posterior Beta(a, b), mean and equal-tailed interval [fractions].

    ``sentence`` holds no percentage when ``tried`` is below the least number of trials.
    """

    worked: int
    tried: int
    prior: BetaPrior
    a: float
    b: float
    mean: float
    low: float
    high: float
    level: float
    sentence: str


def _counts(worked: int, tried: int) -> None:
    if worked != int(worked) or tried != int(tried):
        raise OutOfRange(f"{worked} of {tried} is not a count", mend="give whole numbers")
    if not 0 <= worked <= tried:
        raise OutOfRange(f"{worked} of {tried} cannot be", mend="give 0 <= worked <= tried")


def _quantile(a: float, b: float, chance: float) -> float:
    from scipy.special import betaincinv  # noqa: PLC0415  scipy is slow to import

    return float(betaincinv(a, b, chance))


def _level(level: float) -> float:
    return within("level", level, 0.5, 0.9999, "")


def rate(
    worked: int, tried: int, prior: BetaPrior, *, level: float = 0.95, least_trials: int
) -> Rate:
    """Return the posterior of a rate after ``worked`` of ``tried``.

    Parameters
    ----------
    worked, tried counts, 0 <= worked <= tried
    prior         belief before counting; always shown with the result
    level         probability inside the interval, 0.5 to 0.9999
    least_trials  no percentage is put into words below this many trials

    Source
    ------
    Conjugate beta-binomial posterior; worked example: 437 of 980 under a uniform prior, Gelman
    et al., Bayesian Data Analysis.
    """
    _counts(worked, tried)
    tail = (1.0 - _level(level)) / 2.0
    a, b = prior.a + worked, prior.b + (tried - worked)
    low, high = _quantile(a, b, tail), _quantile(a, b, 1.0 - tail)
    mean = a / (a + b)
    sentence = f"worked {worked} of {tried} times"
    if tried == 0:
        sentence = "never tried"
    elif tried < least_trials:
        sentence += "; too few for a percentage"
    else:
        sentence += f": about {mean:.0%} ({low:.0%} to {high:.0%}, {prior.name} prior)"
    return Rate(worked, tried, prior, a, b, mean, low, high, level, sentence)


def wilson(
    worked: int, tried: int, *, level: float = 0.95, has_continuity: bool = False
) -> tuple[float, float]:
    """Return Wilson's interval of a rate [fractions], with or without continuity correction.

    Source: Newcombe, Statistics in Medicine 17:857-872, 1998, methods 3 and 4.
    """
    _counts(worked, tried)
    if tried == 0:
        raise OutOfRange("no trial was made", mend="try at least once")
    z = NormalDist().inv_cdf(0.5 + _level(level) / 2.0)
    p, n = worked / tried, float(tried)
    below = n + z * z
    if not has_continuity:
        centre = worked + z * z / 2.0
        half = z * math.sqrt(worked * (1.0 - p) + z * z / 4.0)
        low, high = (centre - half) / below, (centre + half) / below
    else:
        q = 1.0 - p
        root_low = math.sqrt(max(0.0, z * z - 2.0 - 1.0 / n + 4.0 * p * (n * q + 1.0)))
        root_high = math.sqrt(max(0.0, z * z + 2.0 - 1.0 / n + 4.0 * p * (n * q - 1.0)))
        low = (2.0 * worked + z * z - 1.0 - z * root_low) / (2.0 * below)
        high = (2.0 * worked + z * z + 1.0 + z * root_high) / (2.0 * below)
    return (
        0.0 if worked == 0 else max(0.0, low),
        1.0 if worked == tried else min(1.0, high),
    )


def exact_interval(worked: int, tried: int, *, level: float = 0.95) -> tuple[float, float]:
    """Return the exact (Clopper-Pearson) interval of a rate [fractions]."""
    _counts(worked, tried)
    tail = (1.0 - _level(level)) / 2.0
    low = _quantile(worked, tried - worked + 1, tail) if worked > 0 else 0.0
    high = _quantile(worked + 1, tried - worked, 1.0 - tail) if worked < tried else 1.0
    return low, high
