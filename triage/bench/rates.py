"""How often something worked: k of n with an honest interval.

All of it assumes trials that are independent and alike. Records are not: what worked is logged
more readily, and one specimen tried twice is not two. So n is always shown.
"""

from __future__ import annotations

from dataclasses import dataclass

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


def prior_of_strength(mean: float, strength: float, name: str = "coarser group") -> BetaPrior:
    """Return the prior that counts as ``strength`` trials at rate ``mean`` [fraction].

    Raises OutOfRange for a mean of exactly 0 or 1: no finite record earns certainty.
    Source: the m-estimate of probability (Cestnik, ECAI 1990; from memory).
    """
    centre = within("prior mean", mean, 1e-9, 1.0 - 1e-9, "fraction")
    weight = positive("prior strength", strength, "trials")
    return BetaPrior(centre * weight, (1.0 - centre) * weight, name)


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
