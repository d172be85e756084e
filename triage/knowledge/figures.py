"""Physical figures of one agent held against each other: what is mistyped rarely fits the rest."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator, Mapping
from itertools import pairwise

from triage.errors import TriageError
from triage.knowledge.agents import Agent, Physical
from triage.knowledge.base import Quantity
from triage.knowledge.book import Knowledge

ZERO_C, ATMOSPHERE_KPA = 273.15, 101.325
# Atomic weights are rounded, and some tables keep older ones.
MOLAR_SHARE = 0.002
# A closed-cup flash point stands close to the temperature at which the saturated vapour reaches
# the lower explosive limit; mixtures and old measurements lie up to this far off.
FLASH_SPAN_C = 16.0
ELEMENT = re.compile(r"([A-Z][a-z]?)(\d*)")


def molar_mass_of(formula: str, weights: Mapping[str, float]) -> float | None:
    """Return the mass of a mole [g/mol]; None if an element of the formula has no weight here."""
    parts = ELEMENT.findall(formula)
    if any(symbol not in weights for symbol, _ in parts):
        return None
    return sum(weights[symbol] * int(count or 1) for symbol, count in parts)


def lean_limit_c(physical: Physical) -> float | None:
    """Return at which temperature the saturated vapour reaches the lower explosive limit [C].

    Notes
    -----
    Two points of vapour pressure, or one and the boiling point, and 1/T between and beyond them
    (Clausius-Clapeyron with a constant heat of evaporation).
    """
    limit, boiling = _value(physical.lower_explosive_limit), _value(physical.boiling_point)
    points = [(p.temp_c, p.kpa) for p in physical.vapour_pressure]
    if len(points) < 2 and boiling is not None:
        points.append((boiling, ATMOSPHERE_KPA))
    if limit is None or len(points) < 2:
        return None
    (first_c, first), (second_c, second) = points[0], points[-1]
    cold, warm = 1 / (first_c + ZERO_C), 1 / (second_c + ZERO_C)
    if cold == warm or first == second:
        return None
    slope = math.log(second / first) / (cold - warm)
    inverse = cold - math.log(limit / 100 * ATMOSPHERE_KPA / first) / slope
    return 1 / inverse - ZERO_C if inverse > 0 else None


def _value(figure: Quantity | None) -> float | None:
    return None if figure is None else figure.value


def figure_faults(k: Knowledge) -> Iterator[TriageError]:
    """Yield what cannot be true of one agent together."""
    weights = {element.symbol: element.weight for element in k.elements.values()}
    for agent in k.agents.values():
        for key, said in _wrong(agent, weights):
            where = k.where("agent", agent.id, "physical", key)
            yield TriageError(said, where, "look both figures up again")


def _wrong(agent: Agent, weights: Mapping[str, float]) -> Iterator[tuple[str, str]]:
    physical = agent.physical
    mass, flash = _value(physical.molar_mass), _value(physical.flash_point)
    if physical.formula is not None:
        counted = molar_mass_of(physical.formula.text, weights)
        if counted is None:
            yield "formula", f"{physical.formula.text} names an element that has no weight"
        elif mass is None or abs(mass - counted) > MOLAR_SHARE * counted:
            said = f"{physical.formula.text} weighs {counted:.1f} g/mol"
            yield "molar_mass", f"the molar mass is {mass}, but {said}"
    lean = lean_limit_c(physical)
    if flash is not None and lean is not None and abs(flash - lean) > FLASH_SPAN_C:
        said = f"its vapour reaches the lower explosive limit at about {lean:.0f} C"
        yield "flash_point", f"it is said to flash at {flash:g} C, but {said}"
    lower = _value(physical.lower_explosive_limit)
    upper = _value(physical.upper_explosive_limit)
    if lower is not None and upper is not None and lower >= upper:
        yield "upper_explosive_limit", f"{upper:g} is not above the lower limit, {lower:g}"
    points = sorted((p.temp_c, p.kpa) for p in physical.vapour_pressure)
    if any(kpa >= warmer for (_, kpa), (_, warmer) in pairwise(points)):
        yield "vapour_pressure", "a warmer liquid has the lower vapour pressure"
