"""Data tables of the bench arithmetic: humidity salts, drying gels, doses and bench figures."""

from __future__ import annotations

import math
from typing import Annotated, Literal, Self

from pydantic import Field, StrictBool, model_validator

from triage.knowledge.base import AgentId, Frozen, Id, SourceId, Status, Text

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Percent = Annotated[Number, Field(ge=0, le=100)]


class Figure(Frozen):
    """One number with its unit and source."""

    value: Number
    unit: Text
    source: SourceId
    note: str = ""


class Span(Frozen):
    """A range of numbers with their unit and source; both ends belong to it."""

    least: Number
    most: Number
    unit: Text
    source: SourceId
    note: str = ""

    @model_validator(mode="after")
    def _ends_are_ordered(self) -> Self:
        if self.least > self.most:
            raise ValueError(f"least {self.least:g} is above most {self.most:g}")
        return self


class HumidityPoint(Frozen):
    """Relative humidity [%] over a saturated salt at one temperature [C].

    ``plus_minus_percent`` is the expanded uncertainty (k = 2); absent where none is published.
    """

    temp_c: Number
    rh_percent: Percent
    plus_minus_percent: Annotated[Number, Field(gt=0)] | None = None
    spread_percent: tuple[Percent, Percent] | None = None
    source: SourceId


class _Curve(Frozen):
    least_c: Number
    most_c: Number
    source: SourceId
    range_source: SourceId
    note: str = ""

    @model_validator(mode="after")
    def _range_is_ordered(self) -> Self:
        if not self.least_c < self.most_c:
            raise ValueError(f"least_c {self.least_c:g} is not below most_c {self.most_c:g}")
        return self


class HumidityPolynomial(_Curve):
    """RH [%] = a0 + a1 t + a2 t^2 + a3 t^3, t in C, from ``least_c`` to ``most_c``."""

    a0: Number
    a1: Number
    a2: Number = 0.0
    a3: Number = 0.0

    @property
    def coefficients(self) -> tuple[float, float, float, float]:
        """Coefficients, lowest power first."""
        return (self.a0, self.a1, self.a2, self.a3)


class HumidityExponential(_Curve):
    """RH [%] = a exp(b / T), T in K, good to ``within_percent`` percent RH."""

    a: Annotated[Number, Field(gt=0)]
    b_k: Number
    within_percent: Annotated[Number, Field(gt=0)]


class Salt(Frozen):
    """A salt whose wet slurry holds the air above it at a known relative humidity."""

    id: Id
    name: Text
    formula: Text
    polynomial: HumidityPolynomial | None = None
    exponential: HumidityExponential | None = None
    points: tuple[HumidityPoint, ...] = ()
    caution: str = ""
    caution_source: SourceId | None = None
    status: Status
    source: SourceId

    @model_validator(mode="after")
    def _has_humidity(self) -> Self:
        if not (self.polynomial or self.exponential or len(self.points) > 1):
            raise ValueError("needs a polynomial, an exponential or two points")
        temps = [point.temp_c for point in self.points]
        if temps != sorted(set(temps)):
            raise ValueError("points must rise in temp_c without repeats")
        if bool(self.caution) != (self.caution_source is not None):
            raise ValueError("caution and caution_source go together")
        return self


class GelCapacity(Frozen):
    """Least water a gel takes up, as a percentage of its dry mass, at one RH [%]."""

    rh_percent: Percent
    percent_of_dry_mass: Annotated[Number, Field(ge=0)]
    source: SourceId


class Gel(Frozen):
    """A drying gel: least capacity by relative humidity, and what it is good for."""

    id: Id
    name: Text
    capacity: Annotated[tuple[GelCapacity, ...], Field(min_length=2)]
    is_fit_for_drying: StrictBool
    held_when_fresh: Span | None = None
    caution: str = ""
    caution_source: SourceId | None = None
    status: Status
    source: SourceId

    @model_validator(mode="after")
    def _rises(self) -> Self:
        rhs = [row.rh_percent for row in self.capacity]
        held = [row.percent_of_dry_mass for row in self.capacity]
        if rhs != sorted(set(rhs)) or held != sorted(held):
            raise ValueError("capacity must rise with rh_percent")
        if bool(self.caution) != (self.caution_source is not None):
            raise ValueError("caution and caution_source go together")
        return self


class Dose(Frozen):
    """A published, habitual or suggested amount, time or count: a figure or a span.

    ``agent`` is an id of ``agents/`` or empty; ``suggestion`` marks a figure that no source
    backs, to be shown as such.
    """

    id: Id
    name: Text
    kind: Literal["fumigant", "vapour", "liquid", "time", "count", "gel", "model", "volume"]
    agent: AgentId | None = None
    figure: Figure | None = None
    span: Span | None = None
    suggestion: StrictBool = False
    because: Text
    status: Status
    source: SourceId

    @model_validator(mode="after")
    def _has_one_number(self) -> Self:
        if (self.figure is None) == (self.span is None):
            raise ValueError("needs either figure or span")
        return self

    @property
    def least(self) -> float:
        """Lower end of the span, or the figure itself."""
        return self.figure.value if self.figure else self.span.least if self.span else math.nan

    @property
    def most(self) -> float:
        """Upper end of the span, or the figure itself."""
        return self.figure.value if self.figure else self.span.most if self.span else math.nan

    @property
    def unit(self) -> str:
        """Unit of the figure or span."""
        return self.figure.unit if self.figure else self.span.unit if self.span else ""
