"""Partial pooling: let a thin record borrow from a coarser group, and say how much."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from triage.bench.rates import BetaPrior
from triage.errors import OutOfRange
from triage.units import positive, within


@dataclass(frozen=True, slots=True)
class GroupPrior:
    """A prior learnt from groups: correlation within a group, and whether it was held in bounds."""

    prior: BetaPrior
    correlation: float
    is_bounded: bool


def prior_of_strength(mean: float, strength: float, name: str = "coarser group") -> BetaPrior:
    """Return the prior that counts as ``strength`` trials at rate ``mean`` [fraction].

    Raises OutOfRange for a mean of exactly 0 or 1: no finite record earns certainty.
    Source: the m-estimate of probability (Cestnik, ECAI 1990; from memory).
    """
    centre = within("prior mean", mean, 1e-9, 1.0 - 1e-9, "fraction")
    weight = positive("prior strength", strength, "trials")
    return BetaPrior(centre * weight, (1.0 - centre) * weight, name)


def prior_from_groups(
    groups: Sequence[tuple[int, int]],
    *,
    least_strength: float,
    most_strength: float,
    known_mean: float | None = None,
    name: str = "sister groups",
) -> GroupPrior:
    """Return the beta prior of a rate that differs from group to group, by moments.

    Parameters
    ----------
    groups         (worked, tried) of each group; groups never tried are left out
    least_strength lower bound of the prior's weight [trials], > 0
    most_strength  upper bound [trials]; it holds when the groups look alike, which few trials do
    known_mean     mean rate known from elsewhere [fraction]; None takes it from the groups

    Raises
    ------
    OutOfRange: fewer than two groups, none with two trials, bounds out of order.

    Notes
    -----
    Let p_i = k_i/n_i, S = sum n_i (p_i - p)^2 and r the correlation of two trials of a group.
    With a known mean, E[S] = p q sum(1 + (n_i - 1) r). With the mean taken from the same groups,
    E[S] = p q (sum(1 - n_i/n) (1 - r) + r sum n_i (1 - n_i/n)). Solve for r; strength a + b is
    1/r - 1. An r at or below 0 (no more spread than chance) goes to ``most_strength``. A mean of
    0 or 1 is drawn in by half a trial each way, since a beta cannot sit on the edge.

    Source
    ------
    Kleinman, J. Am. Stat. Assoc. 68:46-54, 1973 (weights n_i; from memory, so checked against a
    printed moment fit: 6115 sibships of 12, a = 34.1350, b = 31.6085).
    """
    low = positive("least strength", least_strength, "trials")
    high = positive("most strength", most_strength, "trials")
    if low > high:
        raise OutOfRange("the prior's bounds are upside down", mend="swap least and most strength")
    tried = [(k, n) for k, n in groups if n > 0]
    for worked, trials in tried:
        if not 0 <= worked <= trials:
            raise OutOfRange(f"{worked} of {trials} cannot be", mend="give 0 <= worked <= tried")
    total = sum(n for _, n in tried)
    if len(tried) < 2 or total <= len(tried):
        raise OutOfRange(
            "too few groups to learn a prior from", mend="use a prior of fixed strength instead"
        )
    worked_total = sum(k for k, _ in tried)
    mean = (
        worked_total / total
        if known_mean is None
        else within("known mean", known_mean, 0.0, 1.0, "fraction")
    )
    correlation = _correlation(tried, mean, known_mean is not None)
    wanted = math.inf if correlation <= 0.0 else 1.0 / correlation - 1.0
    strength = min(max(wanted, low), high)
    if not 0.0 < mean < 1.0:
        mean = (worked_total + 0.5) / (total + 1.0)
    return GroupPrior(prior_of_strength(mean, strength, name), correlation, strength != wanted)


def _correlation(tried: Sequence[tuple[int, int]], mean: float, is_mean_known: bool) -> float:
    chance = mean * (1.0 - mean)
    if chance == 0.0:
        return 0.0
    spread = sum(n * (k / n - mean) ** 2 for k, n in tried) / chance
    total = sum(n for _, n in tried)
    if is_mean_known:
        by_chance = float(len(tried))
        by_group = float(total)
    else:
        by_chance = sum(1.0 - n / total for _, n in tried)
        by_group = sum(n * (1.0 - n / total) for _, n in tried)
    return (spread - by_chance) / (by_group - by_chance)
