"""Hansen distance: how alike a liquid and a deposit are, with the range the data allow."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal, Self

from triage.errors import OutOfRange
from triage.units import at_least, finite, positive

Verdict = Literal["likely", "borderline", "unlikely", "cannot-say"]


@dataclass(frozen=True, slots=True)
class Interval:
    """A closed interval of real numbers, ``low <= high``."""

    low: float
    high: float

    def __post_init__(self) -> None:
        finite("lower end", self.low, "")
        finite("upper end", self.high, "")
        if self.low > self.high:
            raise OutOfRange(
                f"interval {self.low:g} to {self.high:g} is upside down", mend="swap its ends"
            )

    def distance(self, other: Interval) -> Interval:
        """Return the range of ``abs(a - b)`` for a here and b in ``other``."""
        gap = max(0.0, other.low - self.high, self.low - other.high)
        return Interval(gap, max(self.high - other.low, other.high - self.low))


@dataclass(frozen=True, slots=True)
class Hansen:
    """Dispersion, polar and hydrogen-bonding parameters [MPa^0.5], each an interval."""

    dispersion: Interval
    polar: Interval
    hydrogen: Interval

    @classmethod
    def at(cls, dispersion: float, polar: float, hydrogen: float, plus_minus: float = 0.0) -> Self:
        """Return the triplet around a point, each part within ``plus_minus`` [MPa^0.5]."""
        half = at_least("plus-minus", plus_minus, 0.0, "MPa^0.5")
        low = [
            at_least("Hansen parameter", v, 0.0, "MPa^0.5") for v in (dispersion, polar, hydrogen)
        ]
        # no parameter is below zero, so the band is cut there
        d, p, h = (Interval(max(0.0, v - half), v + half) for v in low)
        return cls(d, p, h)


def hansen_distance(one: Hansen, other: Hansen) -> Interval:
    """Return the range of Ra [MPa^0.5] between two triplets.

    Notes: Ra^2 = 4 dD^2 + dP^2 + dH^2; the 4 belongs to the dispersion part. Each part of the
    sum rises with its own difference, so the ends are exact for independent parameters.
    Source: Hansen, Solubility Parameters: A User's Handbook, 2nd ed. 2007, chapter 1.
    """
    d = one.dispersion.distance(other.dispersion)
    p = one.polar.distance(other.polar)
    h = one.hydrogen.distance(other.hydrogen)
    return Interval(math.hypot(2.0 * d.low, p.low, h.low), math.hypot(2.0 * d.high, p.high, h.high))


def relative_distance(solvent: Hansen, deposit: Hansen, radius: Interval) -> Interval:
    """Return the range of RED = Ra/R0 for a deposit of interaction radius ``radius`` [MPa^0.5].

    Raises OutOfRange for a radius that is not positive.
    """
    positive("interaction radius", radius.low, "MPa^0.5")
    distance = hansen_distance(solvent, deposit)
    return Interval(distance.low / radius.high, distance.high / radius.low)


def verdict(red: Interval, margin: float) -> Verdict:
    """Return what a RED range says about dissolving or swelling.

    Parameters
    ----------
    red    range of RED
    margin half width of the borderline band around 1, 0 to below 1

    Notes
    -----
    "likely" and "unlikely" only if the whole range lies clear of the band, "borderline" if all
    of it lies inside, otherwise the data cannot say. It says nothing of speed, and does not hold
    for crystals, ionic dirt, water-rich blends or reactions.
    """
    half = at_least("margin", margin, 0.0, "")
    if half >= 1.0:
        raise OutOfRange(f"margin is {half:g}", mend="give a margin below 1")
    if red.high < 1.0 - half:
        return "likely"
    if red.low > 1.0 + half:
        return "unlikely"
    if red.low >= 1.0 - half and red.high <= 1.0 + half:
        return "borderline"
    return "cannot-say"
