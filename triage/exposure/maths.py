"""Small functions of exponentials that stay exact where the plain form loses its digits."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from triage.errors import OutOfRange

Floats = NDArray[np.float64]


def checked(
    name: str,
    value: ArrayLike,
    unit: str,
    least: float = 0.0,
    most: float = np.inf,
    *,
    above_least: bool = False,
) -> Floats:
    """Return ``value`` as a float array if every entry is finite and in range.

    Parameters
    ----------
    name, unit  as shown in the error
    value       a number or an array of any shape
    least, most the range; ``above_least`` leaves ``least`` itself out

    Raises
    ------
    OutOfRange: an entry is not finite or lies outside; the message names the worst one.
    """
    array = np.asarray(value, dtype=np.float64)
    if array.size == 0:
        raise OutOfRange(f"{name} is empty", mend=f"give {name} in {unit}")
    if not np.isfinite(array).all():
        raise OutOfRange(f"{name} is not a finite number", mend=f"give {name} in {unit}")
    low, high = float(array.min()), float(array.max())
    if low < least or (above_least and low <= least):
        word = "above" if above_least else "at least"
        raise OutOfRange(
            f"{name} is {low:g} {unit}".rstrip(),
            mend=f"it must be {word} {least:g} {unit}".rstrip(),
        )
    if high > most:
        raise OutOfRange(
            f"{name} is {high:g} {unit}".rstrip(),
            mend=f"it must be at most {most:g} {unit}".rstrip(),
        )
    return array


def phi1(x: ArrayLike) -> Floats:
    """Return ``(1 - exp(-x)) / x``, 1 at zero: the mean of a decay over its first ``x`` lives."""
    x = np.asarray(x, dtype=np.float64)
    safe = np.where(x == 0.0, 1.0, x)
    return np.where(x == 0.0, 1.0, -np.expm1(-safe) / safe)
