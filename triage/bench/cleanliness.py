"""How clean a surface is by the number of spots on it, in the terms of two published scales."""

from __future__ import annotations

import math

from triage.units import positive

SIZES_UM = (0.05, 500.0)  # sizes for which the surface classes are defined
CLASSES = (1.0, 8.0)
SLOPE = 0.926  # of the product levels


def surface_class(spots: int, area_mm2: float, size_um: float) -> float | None:
    """Return the class of surface cleanliness by particle concentration, None beyond the scale.

    Parameters
    ----------
    spots    counted at this size and larger, >= 1
    area_mm2 looked at [mm2], > 0
    size_um  smallest size counted [um]

    Notes
    -----
    C = 10^N / D, C the most particles a square metre of D um and larger; the least N that holds
    what was counted, in tenths.

    Source
    ------
    ISO 14644-9:2012, 4.2, classes 1 to 8: from memory. Its scope, 0.05 to 500 um: opened.
    """
    a_square_metre = spots / positive("area", area_mm2, "mm2") * 1e6
    exact = math.log10(a_square_metre * positive("size", size_um, "um"))
    made = max(CLASSES[0], math.ceil(10 * exact - 1e-9) / 10)
    return made if SIZES_UM[0] <= size_um <= SIZES_UM[1] and made <= CLASSES[1] else None


def product_level(spots: int, area_mm2: float, size_um: float) -> float:
    """Return the product cleanliness level [um] that holds what was counted.

    Notes
    -----
    log10 n = 0.926 (log10(L)^2 - log10(x)^2), n the most particles of x um and larger on 0.1 m2.
    The law was found on cleaned metal; from one size it tells what would be counted at others.

    Source
    ------
    Borson 2005, IEST-STD-CC1246D: Product Cleanliness Levels and Contamination Control Program,
    opened; slope and form also in MIL-STD-1246C (1994), 1.4, opened.
    """
    on_a_tenth = spots / positive("area", area_mm2, "mm2") * 1e5
    size = math.log10(max(1.0, positive("size", size_um, "um")))
    square = size**2 + math.log10(max(1.0, on_a_tenth)) / SLOPE
    return float(10 ** math.sqrt(square))
