"""What stands with a deposit, a condition or a grade: its signs, its ladder, its worked cases."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, WithJsonSchema, model_validator

from triage.knowledge.base import Frozen, Id, Sourced, SourceId, Text
from triage.knowledge.rules import RuleCase

Standing = Literal["doubtful", "open", "suspected", "likely", "settled"]
# Its range is checked with the rule that is made of it, so that all weights are refused alike.
WeightValue = Annotated[
    Any, WithJsonSchema({"type": "number", "minimum": -1, "exclusiveMaximum": 1})
]


class Written(Frozen):
    """A sign named where it is used, or written out there if nothing else needs it."""

    when: tuple[Mapping[str, Any], ...] = Field((), description="what is seen; ``$f`` is the find")
    because: str = Field("", description="one sentence to the user")
    why: str = ""
    ask: str = ""
    source: SourceId | None = None
    at: str = ""
    note: str = ""
    was: tuple[Id, ...] = ()
    cases: tuple[RuleCase, ...] = Field((), description="one that fires, one that is silent")

    @model_validator(mode="after")
    def _is_whole(self) -> Written:
        if self.when and not (self.because and self.source and self.cases):
            raise ValueError("a sign written out needs because, source and cases")
        if self.cases and not self.when:
            raise ValueError("cases stand with the sign that is written out, beside its when")
        if self.because and not self.source:
            raise ValueError("a reason of its own needs its source")
        return self


class Weight(Written):
    """How strongly a sign speaks for a deposit (above 0) or against it; -1 excludes.

    0.2 slight, 0.4 moderate, 0.6 strong, 0.8 very strong. ``because`` gives this deposit a reason
    of its own instead of the one that stands with the sign.
    """

    weight: WeightValue


class NamedSign(Written):
    """A sign that a condition or a grade follows from: its name alone, or written out here."""

    id: Id


def _as_weight(value: Any) -> Any:
    return value if isinstance(value, Mapping) else {"weight": value}


def _as_named(value: Any) -> Any:
    return {"id": value} if isinstance(value, str) else value


Signs = Mapping[
    Id, Annotated[Weight, BeforeValidator(_as_weight, json_schema_input_type=Weight | WeightValue)]
]
NamedSigns = tuple[
    Annotated[NamedSign, BeforeValidator(_as_named, json_schema_input_type=NamedSign | Id)], ...
]


class Rungs(Sourced):
    """Methods that may remove a deposit or clear a condition; the plan puts them in order."""

    id: Id | None = Field(None, description="id of the rule; offer-ENTRY unless given")
    method: tuple[Id, ...] = Field(min_length=1)
    when: tuple[Mapping[str, Any], ...] = Field((), description="what must hold besides")
    because: Text
    why: str = ""
    ask: str = ""
    was: tuple[Id, ...] = ()
    cases: tuple[RuleCase, ...] = Field(min_length=2)


class DepositRungs(Rungs):
    """Methods that may remove a deposit, perhaps only on some zones."""

    standing: Standing = Field("suspected", description="how sure it must be at least")
    where: Mapping[str, Any] = Field(
        default_factory=dict, description="fields of the zone, such as surface: lens"
    )


class WorkedCase(Frozen):
    """What a person who knows no names might answer, and what must settle the deposit.

    For a deposit that is not guarded, the answers must also leave every guard out of reach.
    """

    zone: Id
    taxon: Id
    specimen: Mapping[Id, Id] = Field(default_factory=dict, description="answers about the insect")
    signs: Mapping[Id, Id] = Field(description="answers about the place")
    note: str = ""
