"""Rules as data: patterns over facts, conclusions, one sentence, a source, and cases."""

from __future__ import annotations

from collections.abc import Mapping
from enum import StrEnum
from typing import Any, Literal

from pydantic import Field

from triage.knowledge.base import Entry, Frozen, Text


class Family(StrEnum):
    """Strata of the rulebase, in the order in which they run."""

    RECOGNISE = "recognise"
    GATE = "gate"
    FORBID = "forbid"
    OFFER = "offer"
    ORDER = "order"
    CAUTION = "caution"
    ADVISE = "advise"


FAMILIES: tuple[Family, ...] = tuple(Family)

# The rules of these families are made of the files of deposits, conditions and fragility.
BY_ROOM: frozenset[Family] = frozenset({Family.RECOGNISE, Family.OFFER})

# In these families an unknown field meets every condition: what is not known to be safe is
# treated as if it were not. In the others an unknown field meets none.
RESTRICTIVE: frozenset[Family] = frozenset({Family.GATE, Family.FORBID, Family.CAUTION})


class RuleCase(Frozen):
    """One example of a rule: the facts given, and whether it must fire."""

    given: Mapping[str, Any]
    expect: Literal["fires", "silent"]


class Sign(Entry):
    """What may be observed, and what it tells; ``$f`` is the finding that it is seen on.

    What it speaks for stands with the deposit, the condition or the grade of fragility.
    """

    when: tuple[Mapping[str, Any], ...] = Field(min_length=1)
    because: Text
    why: str = Field("", description="justification, apart from the condition")
    ask: str = Field("", description="question whose answer could release it")
    cases: tuple[RuleCase, ...] = Field(min_length=2)


class Rule(Sign):
    """One rule: patterns over facts and what follows; patterns are compiled by the engine."""

    then: tuple[Mapping[str, Any], ...] | Mapping[str, Any]

    def conclusions(self) -> tuple[Mapping[str, Any], ...]:
        """Return the conclusions as a tuple, also where the YAML gives only one."""
        return (self.then,) if isinstance(self.then, Mapping) else self.then
