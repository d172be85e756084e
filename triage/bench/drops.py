"""Drops and other small volumes, always with the range they may lie in."""

from __future__ import annotations

import math

from triage.errors import OutOfRange
from triage.units import positive, within


def ml_per_drop(counted_drops: int, filled_ml: float) -> float:
    """Return the volume of one drop [mL] from a count of drops that filled a known volume.

    The user's own dropper and liquid: the drop of another liquid differs by its surface tension.
    Raises OutOfRange under ten drops, where the last drop alone is a tenth of the answer.
    Source: pharmacy course page on calibrating a dropper (35 drops fill 2 mL).
    """
    if counted_drops < 10:
        raise OutOfRange(
            f"{counted_drops} drops are too few to calibrate by", mend="count at least ten"
        )
    return positive("filled volume", filled_ml, "mL") / counted_drops


def drops_to_ml(
    drops: float, least_per_ml: float, most_per_ml: float, error_fraction: float
) -> tuple[float, float, float]:
    """Return the volume of a number of drops, and its least and most [mL].

    Parameters
    ----------
    drops                     number of drops, > 0
    least_per_ml, most_per_ml drops in one millilitre of this liquid from this dropper, > 0
    error_fraction            volume error in normal use [fraction], 0 to below 1

    Source
    ------
    USP 32 general chapter 1101: at most 15 % error for a calibrated dropper.
    """
    count = positive("number of drops", drops, "drops")
    least = positive("drops per millilitre", least_per_ml, "1/mL")
    most = positive("drops per millilitre", most_per_ml, "1/mL")
    error = within("dropper error", error_fraction, 0.0, 0.99, "fraction")
    middle = count / ((least + most) / 2.0)
    return middle, count / most * (1.0 - error), count / least * (1.0 + error)


def whole_drops(volume_ml: float, drops_per_ml: float) -> int:
    """Return the whole number of drops nearest to a volume, never above the volume asked for.

    Rounding down keeps a hazardous amount from growing. Raises OutOfRange if the volume is less
    than one drop: a part of a drop cannot be counted.
    """
    wanted = positive("volume", volume_ml, "mL")
    rate = positive("drops per millilitre", drops_per_ml, "1/mL")
    # the tolerance keeps 0.3 mL at 20 drops per mL from becoming five drops by rounding error
    count = math.floor(wanted * rate * (1.0 + 1e-9))
    if count < 1:
        raise OutOfRange(
            f"{wanted:.3g} mL is less than one drop",
            mend="make up a weaker solution and take more of it, or wet a fine brush",
        )
    return count
