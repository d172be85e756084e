"""What every knowledge entry has in common: an id, a source, and no unknown keys."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum
from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field, StringConstraints

Id = Annotated[str, StringConstraints(pattern=r"^[a-z0-9][a-z0-9.-]*$", max_length=80)]
Text = Annotated[str, StringConstraints(min_length=1, strip_whitespace=True)]


@dataclass(frozen=True, slots=True)
class Names:
    """Marks an id that names an entry of another kind, which must be there."""

    kind: str


AgentId = Annotated[Id, Names("agent")]
AuthorityId = Annotated[Id, Names("authority")]
BodyPlanId = Annotated[Id, Names("body-plan")]
CircumstanceId = Annotated[Id, Names("circumstance")]
DepositId = Annotated[Id, Names("deposit")]
EquipmentId = Annotated[Id, Names("equipment")]
FragilityId = Annotated[Id, Names("fragility")]
HazardId = Annotated[Id, Names("hazard")]
MaterialId = Annotated[Id, Names("material")]
OutcomesId = Annotated[Id, Names("outcomes")]
SourceId = Annotated[Id, Names("source")]
StopId = Annotated[Id, Names("stop")]
TechniqueId = Annotated[Id, Names("technique")]
TraitId = Annotated[Id, Names("trait")]
Grade = Annotated[int, Field(ge=0, le=5)]


class Frozen(BaseModel):
    """A value that never changes after it was read and knows no keys but its own."""

    # Built when the first one is read: entries kept from the last run need no validator.
    model_config = ConfigDict(
        frozen=True, extra="forbid", str_strip_whitespace=True, defer_build=True
    )


class Entry(Frozen):
    """One entry of the knowledge: stable id, source, and where in the source."""

    id: Id
    source: SourceId
    at: str = ""
    note: str = ""
    was: tuple[Id, ...] = ()


class Sourced(Frozen):
    """A statement or number inside an entry that carries its own source."""

    source: SourceId
    at: str = ""
    note: str = ""


class Statement(Sourced):
    """One sentence with its source."""

    text: Text


class Quantity(Sourced):
    """A number with its unit; ``value: null`` says that there is none, and ``note`` why."""

    value: float | None
    unit: Text


class Status(StrEnum):
    """How far an entry has been checked."""

    DRAFT = "draft"
    CHECKED = "checked"
    DISPUTED = "disputed"


class SourceKind(StrEnum):
    """What stands behind a source id."""

    PUBLISHED = "published"
    STANDARD = "standard"
    LIBRARY = "library"
    COMMON_PRACTICE = "common-practice"
    JUDGEMENT = "judgement"
    FROM_MEMORY = "from-memory"
    DERIVED = "derived"


class Source(Frozen):
    """One entry of the source registry."""

    id: Id
    kind: SourceKind
    title: Text
    section: str = ""
    year: int | str | None = None
    read: str = Field(
        "", description="how much of it was opened: whole, passage, abstract, not opened"
    )
    note: str = ""
