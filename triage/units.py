"""Guards for numbers with units, used by every calculation before it calculates; shown figures."""

from __future__ import annotations

import math
from typing import overload

from triage.errors import OutOfRange


def finite(name: str, value: float, unit: str) -> float:
    """Return ``value`` if it is a finite number, else raise ``OutOfRange`` naming it."""
    number = float(value)
    if not math.isfinite(number):
        raise OutOfRange(f"{name} is {value}, not a finite number", mend=f"give {name} in {unit}")
    return number


def _wrong(name: str, number: float, unit: str, must: str) -> OutOfRange:
    told = f"{name} is {number:g} {unit}".rstrip()
    return OutOfRange(told, mend=f"it must {must} {unit}".rstrip())


def at_least(name: str, value: float, least: float, unit: str) -> float:
    """Return ``value`` if it is finite and not below ``least`` [``unit``]."""
    number = finite(name, value, unit)
    if number < least:
        raise _wrong(name, number, unit, f"be at least {least:g}")
    return number


def positive(name: str, value: float, unit: str) -> float:
    """Return ``value`` if it is finite and above zero [``unit``]."""
    number = finite(name, value, unit)
    if number <= 0.0:
        raise _wrong(name, number, unit, "be above zero")
    return number


def within(name: str, value: float, least: float, most: float, unit: str) -> float:
    """Return ``value`` if ``least <= value <= most`` [``unit``]."""
    number = finite(name, value, unit)
    if not least <= number <= most:
        raise _wrong(name, number, unit, f"lie between {least:g} and {most:g}")
    return number


@overload
def short(number: float) -> float: ...
@overload
def short(number: None) -> None: ...
def short(number: float | None) -> float | None:
    """Return a figure with four significant digits: more would pretend to know."""
    return number if number is None or isinstance(number, int) else float(f"{number:.4g}")
