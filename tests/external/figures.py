"""What is worked out for each kind of figure that is printed somewhere, and whether it comes out."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import chemicals
import numpy as np
from skimage.color import deltaE_ciede2000, rgb2lab

from tests.second_entry.tables import Row
from tests.support.knowledge import shipped
from triage.bench import chamber, cleanliness, stock, storage
from triage.exposure import gas, space
from triage.picture import optics
from triage.picture.changes import removal_share
from triage.yamltext import parse_yaml

HELD = shipped()
TABLE = Path(__file__).with_suffix(".yaml")
KPA_PER_MMHG = 101.325 / 760
# One pound in a cubic foot, in g/m3.
POUND = 453.59237 / 0.3048**3


def _salt(salt: str, temp_c: float) -> float:
    return chamber.salt_rh(HELD.salts[salt], temp_c).rh_percent


def _exponential(salt: str, temp_c: float) -> float:
    found = chamber.exponential_rh(HELD.salts[salt], temp_c)
    assert found is not None, "the formula does not reach there"
    return found.rh_percent


def _depth_by_circle(magnification: float, nominal: float) -> float:
    na = optics.na_from_working(nominal * (1 + magnification), magnification)
    whole, wave = (optics.depth_um(na, 0.55, magnification, e) for e in (19.0, 0.0))
    return (whole - wave) / 1000


def _rate_ratio(part: str, after: int, after_area: float, before: int, before_area: float) -> float:
    share, low, high = removal_share(before=before, after=after)
    removed = {"ratio": share, "low": high, "high": low}[part]
    return (1 - removed) * before_area / after_area


def _colour_difference(*lab: float) -> float:
    there, back = (
        float(deltaE_ciede2000(np.array(a), np.array(b)))
        for a, b in ((lab[:3], lab[3:]), (lab[3:], lab[:3]))
    )
    return there if abs(there - back) < 1e-9 else float("nan")


def _made_up(wanted: float, held: float, total: float, basis: stock.Basis) -> stock.MakeUp:
    return stock.make_up(wanted, basis, stock.Bottle(held, basis), total)


def _drop_in_range(mg: float) -> float:
    _, least_ml, most_ml = stock.drops_to_ml(1, 20, 20, HELD.doses["dropper-error"].most)
    return min(max(mg, least_ml * 1000), most_ml * 1000)


FIGURES: dict[str, Callable[..., float | None]] = {
    "molar-volume": lambda temp_c, mmhg: float(gas.molar_volume_l(temp_c, mmhg * KPA_PER_MMHG)),
    "mg-per-m3": lambda ppm, mass: float(gas.mg_per_m3_from_ppm(ppm, mass)),
    "mg-per-m3-of": lambda cas, ppm: float(gas.mg_per_m3_from_ppm(ppm, chemicals.MW(cas))),
    "ppm": lambda mg, mass: float(gas.ppm_from_mg_per_m3(mg, mass)),
    "purge-minutes": lambda changes, removed: space.minutes_to_fall(
        1.0, 1 - removed, space.decay_per_min(changes)
    ),
    "water-pressure": lambda temp_c: chamber.saturation_pressure_pa(temp_c) / 1000,
    "water-in-air": chamber.vapour_density_mg_per_l,
    "salt": _salt,
    "salt-exponential": _exponential,
    "mould-weeks": chamber.weeks_to_first_growth,
    "mould-humidity": chamber.critical_rh_percent,
    "stock-ml": lambda wanted, held, total: _made_up(wanted, held, total, "v/v").stock,
    "water-ml": lambda wanted, held, total: _made_up(wanted, held, total, "v/v").water,
    "molarity": stock.molarity,
    "grams-per-litre": lambda percent, density: stock.molarity(percent, density, 1),
    "ml-for-a-litre": lambda wanted, held: _made_up(wanted, held, 1000, "mol/L").stock,
    "gel": lambda gel, rh: storage.gel_capacity(HELD.gels[gel], rh) * 100,
    "dose-least": lambda dose: HELD.doses[dose].least,
    "dose-most": lambda dose: HELD.doses[dose].most,
    "dose-least-pounds": lambda dose, cubic_feet: HELD.doses[dose].least / POUND * cubic_feet,
    "dose-most-pounds": lambda dose, cubic_feet: HELD.doses[dose].most / POUND * cubic_feet,
    "drop-in-range": _drop_in_range,
    "resolution": lambda wavelength, na: optics.rayleigh_um(na, wavelength),
    "depth": lambda na: optics.depth_um(na, 0.55, 10.0, 0.0),
    "depth-by-eye": lambda na, whole: optics.depth_um(na, 0.55 / 2, whole, 1000 / 7),
    "depth-by-circle": _depth_by_circle,
    # On a thousand times the reference area of 0.1 m2, so that the count is a whole number.
    "product-level": lambda size, most: cleanliness.product_level(round(1000 * most), 1e8, size),
    "surface-class": lambda size, most: cleanliness.surface_class(most, 1e6, size),
    "rate-ratio": _rate_ratio,
    "lab-of-srgb": lambda part, *rgb: float(rgb2lab(np.array([rgb], float))[0, part]),
    "colour-difference": _colour_difference,
}


def figures() -> Iterator[Row]:
    """Yield each printed figure with its table: what goes in, and what is printed."""
    for group in parse_yaml(TABLE.read_text(encoding="utf-8"), TABLE.name).data:
        for *given, printed in group["rows"]:
            yield {**group, "given": given, "printed": printed}


def wrong_figure(row: Row) -> str:
    """Return how what is worked out departs from a printed figure."""
    found, printed = FIGURES[row["figure"]](*row["given"]), row["printed"]
    allowed = row.get("within", row.get("share", 0) * abs(printed))
    is_near = found is not None and abs(found - printed) <= allowed + 1e-12
    return "" if is_near else f"printed {printed}, worked out {found}"
