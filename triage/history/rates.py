"""How often something worked: k of n with an honest interval, and how groups lean on each other.

All of it assumes trials that are independent and alike. Records are not: what worked is logged
more readily, and one specimen tried twice is not two. So n is always shown.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from triage.history.columns import Ints, Reals
from triage.units import positive


@dataclass(frozen=True, slots=True)
class BetaPrior:
    """What is believed of a rate before counting: Beta(a, b), with a name to show."""

    a: float
    b: float
    name: str

    def __post_init__(self) -> None:
        positive("prior a", self.a, "")
        positive("prior b", self.b, "")


@dataclass(frozen=True, slots=True)
class Rate:
    """A rate from k of n: posterior Beta(a, b), mean and interval [fractions].

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


@dataclass(frozen=True, slots=True)
class Terms:
    """How counts become a rate: prior, interval, least trials for a percentage, leaning."""

    top: BetaPrior
    level: float
    least_trials: int
    lean: float
    least_lean: float
    most_lean: float
    skip_below: float


def learnt_lean(parents: Ints, worked: Reals, tried: Reals, terms: Terms) -> float:
    """Return the weight in trials that a parent's mean deserves for its children.

    Parameters
    ----------
    parents       number of each group's parent, shape (groups,)
    worked, tried counts of each group, shape (groups,)

    Notes
    -----
    Moments (Kleinman, J. Am. Stat. Assoc. 68:46-54, 1973; weights n_i, from memory, so checked
    against a printed fit), the sums taken over all parents. With p_i = k_i/n_i and
    S = sum n_i (p_i - p)^2 the correlation of two trials of a group is
    r = sum(S/pq - sum(1 - n_i/n)) / sum(sum n_i(1 - n_i/n) - sum(1 - n_i/n)), weight 1/r - 1.
    Parents whose children all worked or all failed say nothing about spread.
    """
    if parents.size == 0:
        return terms.lean
    count = int(parents.max()) + 1
    total = np.bincount(parents, tried, count)
    mean = np.divide(
        np.bincount(parents, worked, count), total, out=np.zeros(count), where=total > 0
    )
    chance = mean * (1.0 - mean)
    spread = np.bincount(parents, tried * (worked / tried - mean[parents]) ** 2, count)
    by_chance = np.bincount(parents, 1.0 - tried / total[parents], count)
    by_group = np.bincount(parents, tried * (1.0 - tried / total[parents]), count)
    children = np.bincount(parents, minlength=count)
    useful = (children > 1) & (total > children) & (chance > 0)
    room = float((by_group - by_chance)[useful].sum())
    if room <= 0.0:
        return terms.lean
    found = float((spread[useful] / chance[useful] - by_chance[useful]).sum()) / room
    wanted = np.inf if found <= 0.0 else 1.0 / found - 1.0
    return float(min(max(wanted, terms.least_lean), terms.most_lean))


def carried_strength(weight: Any, lean: Any) -> Any:
    """Return the weight of a prior whose mean is itself known from ``weight`` trials only.

    Notes
    -----
    With p given m ~ Beta(m s, (1 - m) s) and m ~ Beta of weight t, the variance of p is
    m(1 - m) (t + s + 1)/((t + 1)(s + 1)); the beta with that mean and variance has the weight
    t s/(t + s + 1).
    """
    return weight * lean / (weight + lean + 1.0)


def told_upward(tried: Any, lean: Any) -> Any:
    """Return the share of a group's trials that counts as witness for the group above it.

    Notes
    -----
    Trials of one group resemble each other: with correlation r = 1/(s + 1), n of them weigh as
    n/(1 + (n - 1) r) = n (s + 1)/(n + s) independent ones (the design effect of a cluster).
    """
    return (lean + 1.0) / (tried + lean)


def credible_interval(a: Any, b: Any, level: float) -> tuple[Any, Any]:
    """Return the ends [fractions] between which Beta(a, b) rates lie with probability ``level``.

    Notes
    -----
    Equal tails, except where the density is highest at an edge (a or b at most 1): there the
    interval begins at 0 or ends at 1, as the interval of highest density does. Equal tails would
    never hold a rate of exactly 0, which is what a method that cannot work has.
    """
    from scipy.special import betaincinv  # noqa: PLC0415  scipy is slow to import

    a, b = np.asarray(a), np.asarray(b)
    at_0 = (a <= 1.0) & (a <= b)
    at_1 = (b <= 1.0) & ~at_0
    tail = 1.0 - level
    low = np.where(at_0, 0.0, betaincinv(a, b, np.where(at_1, tail, tail / 2.0)))
    high = np.where(at_1, 1.0, betaincinv(a, b, np.where(at_0, level, 1.0 - tail / 2.0)))
    return low, high
