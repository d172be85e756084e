"""How much vapour leaves a liquid, and how fast: bound, decaying source, tube, drops."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from triage.exposure.maths import Floats, checked
from triage.units import at_least, positive, within


@dataclass(frozen=True, slots=True)
class VolumeRange:
    """A volume counted in drops, with the spread of a dropper in normal use [mL]."""

    least_ml: float
    mid_ml: float
    most_ml: float


def drops_to_ml(drops: float, drops_per_ml: float = 20.0, spread: float = 0.15) -> VolumeRange:
    """Return the volume of a count of drops.

    Parameters
    ----------
    drops        count, >= 0
    drops_per_ml 20 for a standard dropper; a fine tip and a light liquid give 30 to 40
    spread       fraction either way, 0 to 1

    Source
    ------
    USP 32, general chapter 1101, medicine dropper: volume error at most 15 % in normal use.
    """
    count = at_least("drops", drops, 0.0, "")
    per_ml = positive("drops per mL", drops_per_ml, "1/mL")
    part = within("drop spread", spread, 0.0, 1.0, "")
    mid = count / per_ml
    return VolumeRange(mid * (1.0 - part), mid, mid * (1.0 + part))


def total_mass_mg(volume_ml: ArrayLike, density_g_per_ml: float) -> Floats:
    """Return the mass if everything evaporates: the upper bound that needs no vapour pressure."""
    density = checked("density", density_g_per_ml, "g/mL", 0.0, above_least=True)
    return np.asarray(checked("volume", volume_ml, "mL") * density * 1000.0)
