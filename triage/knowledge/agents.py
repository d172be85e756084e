"""Agents (chemicals and materials): physical data, limits, hazards, gloves, mixes, disposal."""

from __future__ import annotations

from enum import StrEnum
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from triage.knowledge.base import (
    AgentId,
    AuthorityId,
    CircumstanceId,
    Entry,
    Frozen,
    HazardId,
    Id,
    MaterialId,
    Quantity,
    Sourced,
    Statement,
    Status,
    Text,
)

Cas = Annotated[str, StringConstraints(pattern=r"^\d{2,7}-\d{2}-\d$")]


class Basis(StrEnum):
    """Over what time a limit is meant."""

    TWA = "twa"
    STEL = "stel"
    CEILING = "ceiling"
    PEAK = "peak"
    ACTION = "action"
    IDLH = "idlh"


class Conversion(Sourced):
    """The temperature [degC] at which an authority's ppm and mg/m3 are equal."""

    value: float = Field(ge=0, le=30)
    unit: Literal["degC"]


class Authority(Entry):
    """A body that sets limits, and where it holds."""

    name: Text
    short: Text = Field(description="the name in a sentence")
    jurisdiction: Text
    legal: bool = Field(description="true if its limits are law somewhere, false if advice")
    converts_at: Conversion


class Limit(Sourced):
    """One exposure limit of one authority."""

    authority: AuthorityId
    basis: Basis
    value: float = Field(gt=0)
    unit: Literal["ppm", "mg/m3"]
    averaging_min: float = Field(ge=0, description="0 for a ceiling or IDLH")
    edition: Text
    in_force: bool = True


class Formula(Sourced):
    """What one molecule is made of: symbols and counts, no brackets."""

    text: Annotated[str, StringConstraints(pattern=r"^([A-Z][a-z]?\d*)+$", max_length=40)]


class Printed(Sourced):
    """What another document prints for the same figure, in the same unit."""

    value: float


class Figure(Quantity):
    """A figure that a plan may hang on, with what other documents print for it."""

    also: tuple[Printed, ...] = Field(
        (), description="protective data: the own value protects most, nobody follows another"
    )


class PrintedPressure(Sourced):
    """What another document prints for the vapour pressure at the same temperature."""

    kpa: float = Field(gt=0)


class VapourPoint(Sourced):
    """Vapour pressure at one temperature: the highest of those found, which may be breathed."""

    temp_c: float
    kpa: float = Field(gt=0)
    also: tuple[PrintedPressure, ...] = Field(
        (), description="none above the own; crystals are told to last by the lowest"
    )

    @property
    def least_kpa(self) -> float:
        """The lowest of those found."""
        return min((self.kpa, *(each.kpa for each in self.also)))

    @model_validator(mode="after")
    def its_own_is_the_highest(self) -> Self:
        """Refuse an own figure under which less would be breathed than a document prints."""
        if any(each.kpa > self.kpa for each in self.also):
            msg = (
                "also: a document prints more than the entry's own; the higher protects, swap them"
            )
            raise ValueError(msg)
        return self


# Which of the figures that documents print protects. A smell counts from where it is sure.
PROTECTIVE = {
    "density": max,
    "boiling_point": min,
    "flash_point": min,
    "lower_explosive_limit": min,
    "upper_explosive_limit": max,
    "autoignition": min,
    "odour_threshold": max,
}


class Physical(Frozen):
    """Physical data; each number has unit and source, a missing one is unknown."""

    formula: Formula | None = None
    molar_mass: Quantity | None = None
    density: Figure | None = None
    boiling_point: Figure | None = None
    flash_point: Figure | None = None
    lower_explosive_limit: Figure | None = None
    upper_explosive_limit: Figure | None = None
    autoignition: Figure | None = None
    odour_threshold: Figure | None = None
    vapour_pressure: tuple[VapourPoint, ...] = ()

    def value(self, name: str) -> float | None:
        """Return a figure by its name, in its unit; None where it is not known."""
        quantity: Quantity | None = getattr(self, name)
        return None if quantity is None else quantity.value

    @model_validator(mode="after")
    def its_own_figures_protect(self) -> Self:
        """Refuse an own figure that protects less than one that another document prints."""
        for name, protective in PROTECTIVE.items():
            figure: Figure | None = getattr(self, name)
            if figure is None or not figure.also:
                continue
            if figure.value is None:
                msg = f"{name}: also needs a value beside which it stands; say it in note"
                raise ValueError(msg)
            best = protective((figure.value, *(each.value for each in figure.also)))
            if best != figure.value:
                msg = f"{name}: of what documents print {best:g} protects most, make it the own"
                raise ValueError(msg)
        return self


class Hansen(Sourced):
    """Hansen parameters [MPa^0.5]; ``r0`` only where a source gives one."""

    d: float = Field(ge=0)
    p: float = Field(ge=0)
    h: float = Field(ge=0)
    r0: float | None = Field(None, gt=0)
    known: Literal["measured", "stand-in", "weak"] = "measured"


class HazardStatement(Sourced):
    """One hazard statement code of the globally harmonised system."""

    code: Annotated[str, StringConstraints(pattern=r"^(H\d{3}[A-Za-z]*|EUH\d{3}A?)$")]


class Carcinogen(Sourced):
    """What one body says about cancer."""

    body: Text
    category: Text


class Glove(Sourced):
    """A glove material against this agent."""

    material: MaterialId
    verdict: Literal["holds", "splash", "fails"]
    minutes: str = ""


class Disposal(Statement):
    """What becomes of rests; ``drain: true`` where this lets them into the drain."""

    drain: bool = False


class Mix(Sourced):
    """A mix that must not be made: with an agent id or an agent class."""

    with_: AgentId = Field(alias="with")
    product: Text


class Attack(Sourced):
    """A material that this agent harms."""

    material: MaterialId
    how: Text


class Notice(Sourced):
    """A legal notice with place and date."""

    jurisdiction: Text
    date: Text
    text: Text


class Agent(Entry):
    """A chemical or material, with all that is needed to use it or to refuse it."""

    name: Text
    cas: Cas | None = None
    agent_class: Id
    form: Literal["liquid", "solution", "solid", "gas", "none"]
    status: Status
    dispute: str = ""
    water: Literal["mixes", "partly", "no", "dissolves", "not-applicable"]
    strength_basis: Literal["v/v", "w/w", "w/v", "as-is"] = "as-is"
    evaporating: Text | None = Field(
        None, description="what goes into the air, if not the agent itself"
    )
    vapour_of: AgentId | None = Field(None, description="agent whose limits judge the vapour")
    vapour_share: Quantity | None = Field(
        None, description="part of the liquid's mass that can become that vapour, 0-1"
    )
    physical: Physical = Physical()
    limits: tuple[Limit, ...] = ()
    no_limit_because: str = ""
    hazards: tuple[HazardId, ...] = ()
    h_statements: tuple[HazardStatement, ...] = ()
    carcinogen: tuple[Carcinogen, ...] = ()
    skin: tuple[Statement, ...] = ()
    gloves: tuple[Glove, ...] = ()
    breathing: tuple[Statement, ...] = ()
    first_aid: tuple[Statement, ...] = ()
    incompatible: tuple[Mix, ...] = ()
    attacks: tuple[Attack, ...] = ()
    disposal: tuple[Disposal, ...] = ()
    notices: tuple[Notice, ...] = ()
    hansen: Hansen | None = None
    not_for: tuple[CircumstanceId, ...] = Field(
        (), description="personal circumstances, ids of circumstances.yaml"
    )
    ask_label: tuple[Statement, ...] = ()
    never: bool = Field(False, description="listed only to be refused")

    @model_validator(mode="after")
    def limits_or_reason(self) -> Self:
        """Refuse silence: an agent has limits or says why it has none."""
        if not self.limits and not self.vapour_of and not self.no_limit_because:
            raise ValueError("no limits and no reason; add limits, vapour_of or no_limit_because")
        if self.status is Status.DISPUTED and not self.dispute:
            raise ValueError("status is disputed; say why under dispute")
        return self


class Material(Entry):
    """A support, seal, glue or varnish that agents may attack."""

    name: Text
    role: Literal["support", "box", "seal", "on-specimen", "optics", "glove", "pin", "label"]
    hansen: Hansen | None = None


class Circumstance(Entry):
    """Something about the person or room that makes an agent unacceptable."""

    name: Text
    ask: Text
    always_with: tuple[HazardId, ...] = Field(
        (), description="hazards of an agent that makes it unacceptable; ids of hazards.yaml"
    )
    always_of: tuple[Id, ...] = Field((), description="classes of agent that are unacceptable")


class Element(Entry):
    """A chemical element, by which a molar mass is held against the formula."""

    symbol: Annotated[str, StringConstraints(pattern=r"^[A-Z][a-z]?$")]
    weight: float = Field(gt=0, description="standard atomic weight [g/mol]")


class Hazard(Entry):
    """A hazard flag with the sentence that is shown for it."""

    name: Text
    sentence: Text
    grade: int = Field(ge=0, le=5, description="least grade of hazard to the person it implies")
    flammable: bool = False
    needs_eye_protection: bool = False
    no_drain: bool = False
    needs_ventilation: bool = False
