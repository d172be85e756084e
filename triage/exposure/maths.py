"""Arrays of numbers: their guard, and a function that stays exact where the plain form does not."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from triage.errors import OutOfRange
from triage.units import at_least, finite

Floats = NDArray[np.float64]


def none_below_zero(name: str, value: ArrayLike, unit: str) -> Floats:
    """Return numbers as an array, shape (n,), if there are any and each is finite and >= 0.

    Raises
    ------
    OutOfRange: the message names the worst one.
    """
    array = np.atleast_1d(np.asarray(value, dtype=np.float64))
    if array.size == 0:
        raise OutOfRange(f"{name} is empty", mend=f"give {name} in {unit}")
    at_least(name, float(array.min()), 0.0, unit)
    finite(name, float(array.max()), unit)
    return array


def phi1(x: ArrayLike) -> Floats:
    """Return ``(1 - exp(-x)) / x``, 1 at zero: the mean of a decay over its first ``x`` lives."""
    x = np.asarray(x, dtype=np.float64)
    safe = np.where(x == 0.0, 1.0, x)
    return np.where(x == 0.0, 1.0, -np.expm1(-safe) / safe)
