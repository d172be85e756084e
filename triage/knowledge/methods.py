"""Techniques and methods: what is done, how strong, how long, when to stop; what the bench has."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from typing import Literal, Self

from pydantic import Field, model_validator

from triage.knowledge.base import (
    AgentId,
    CircumstanceId,
    Entry,
    EquipmentId,
    Frozen,
    Grade,
    Id,
    MaterialId,
    OutcomesId,
    Sourced,
    SourceId,
    Statement,
    StopId,
    TechniqueId,
    Text,
)
from triage.knowledge.specimen import Stage, Wetness


class Technique(Entry):
    """How an agent or tool meets the specimen."""

    name: Text
    wet: Wetness
    contact: Literal["none", "touch", "immersion"]
    whole: bool = Field(False, description="done to the whole insect at once, wherever it serves")
    water_free: bool = Field(False, description="takes only liquids without water, on a dry insect")
    shows: Mapping[Id, Id] = Field(
        default_factory=dict,
        description="answers to what nobody told that an attempt without harm gives",
    )
    how: Text
    tool: Text


class Outcomes(Entry):
    """What a step of one kind may come to: the words for each outcome that the record knows."""

    name: Text
    cleared: Text
    better: str = ""
    no_change: str = ""
    worse: str = Field("", description="holds the case until a person releases it")
    closes: bool = Field(True, description="false: it makes ready, and is not the act itself")
    when_worse: Mapping[Id, Id] = Field(
        default_factory=dict, description="answers about the whole insect that the worse one gives"
    )

    @model_validator(mode="after")
    def told_apart(self) -> Self:
        """Refuse two outcomes of the same words, and what is half made ready."""
        words = [*self.words.values()]
        if len({*words}) < len(words):
            raise ValueError("two outcomes have the same words")
        if not self.closes and (self.better or self.no_change):
            raise ValueError("what makes ready is done or not done: better and no_change go out")
        if self.when_worse and not self.worse:
            raise ValueError("when_worse needs a worse outcome")
        return self

    @property
    def words(self) -> Mapping[str, str]:
        """The words of each outcome that a step of this kind may come to, the best one first."""
        named = (self.cleared, self.better, self.no_change, self.worse, "damage", "not done")
        outcomes = ("cleared", "better", "no-change", "worse", "damage", "not-done")
        return {outcome: words for outcome, words in zip(outcomes, named, strict=True) if words}

    def meant(self, said: str) -> str | None:
        """Return the outcome that is meant by its words or its name, None if by neither."""
        name = said.strip().replace(" ", "-")
        named = {words.replace(" ", "-"): outcome for outcome, words in self.words.items()}
        return named.get(name) or (name if name in self.words else None)


class Graded(Sourced):
    """A harshness grade (0 none to 5 worst) with its reason."""

    grade: Grade
    because: Text


class Harshness(Frozen):
    """An explicit judgement in four kinds; never a formula."""

    mechanical: Graded
    chemical: Graded
    person: Graded
    lasting: Graded | None = Field(
        None, description="what nothing undoes, however gentle the act; none where nothing stays"
    )


class Strength(Frozen):
    """Working strength of one agent."""

    value: float = Field(ge=0)
    unit: Literal["% v/v", "% w/w", "% w/v", "drops/50 mL", "g", "mL", "as-is"]

    @model_validator(mode="after")
    def no_more_than_all(self) -> Self:
        """Refuse more than a hundred per cent."""
        if self.unit.startswith("%") and self.value > 100:
            raise ValueError("there is no more than 100 % of anything")
        return self


class Part(Frozen):
    """One agent in a working solution."""

    agent: AgentId
    strength: Strength | None = None


class Span(Frozen):
    """A span with a start value and the most that is allowed."""

    start: float = Field(ge=0)
    most: float = Field(ge=0)

    @model_validator(mode="after")
    def ordered(self) -> Self:
        """Refuse a start above the most."""
        if self.start > self.most:
            raise ValueError(f"start {self.start:g} is above most {self.most:g}")
        return self


class Degrees(Span):
    """A span of temperatures [degC], from deep freezing to steam."""

    start: float = Field(ge=-90, le=100)
    most: float = Field(ge=-90, le=100)


class Amount(Frozen):
    """How much of the main agent's working liquid one pass takes [mL]."""

    typical_ml: float = Field(gt=0)
    least_ml: float = Field(gt=0)
    open_share: float = Field(1.0, gt=0, le=1, description="part that may evaporate in the room")

    @model_validator(mode="after")
    def ordered(self) -> Self:
        """Refuse a least amount above the typical one."""
        if self.least_ml > self.typical_ml:
            raise ValueError(f"least_ml {self.least_ml:g} is above typical_ml {self.typical_ml:g}")
        return self


class Reading(Statement):
    """What another document says of the same step; with a figure, a person may follow it."""

    dwell_s: Span | None = None
    temp_c: Degrees | None = None

    @property
    def figures(self) -> dict[str, Span]:
        """Return what it puts in the place of the entry's own figures."""
        told = {"dwell_s": self.dwell_s, "temp_c": self.temp_c}
        return {name: span for name, span in told.items() if span is not None}


class Method(Entry):
    """Agent, technique, strength and dwell: one rung that a plan may offer."""

    name: Text
    stage: Stage
    outcomes: OutcomesId = Field(description="what a pass may come to, id of outcomes.yaml")
    technique: TechniqueId
    agent: AgentId | None = None
    with_: tuple[Part, ...] = Field((), alias="with", description="further agents in the liquid")
    strength: Strength | None = None
    temp_c: Degrees | None = None
    dwell_s: Span | None = None
    passes: int = Field(ge=1, le=9)
    amount: Amount | None = None
    tool: Text
    do: tuple[Text, ...] = Field(min_length=1, description="what to do, one short step a line")
    success: Text
    stop_signs: tuple[StopId, ...] = Field(min_length=1, description="ids of stops.yaml")
    rinse: tuple[Text, ...] = ()
    drying: str = ""
    keep_away: tuple[MaterialId, ...] = Field(
        (), description="materials besides those the agents attack"
    )
    needs: tuple[EquipmentId, ...] = Field((), description="equipment, ids of equipment.yaml")
    not_for: tuple[CircumstanceId, ...] = Field(
        (), description="personal circumstances besides those of the agents, ids"
    )
    harshness: Harshness
    evidence: tuple[Statement, ...] = ()
    also: tuple[Reading, ...] = Field(
        (), description="documents that say otherwise; its own figures are the more protective"
    )
    stands: str = Field("", description="its own figures in words, and why they protect more")
    harmless: bool = Field(False, description="may be used while the deposit is not yet settled")
    while_dry: bool = Field(False, description="may be used before the specimen is rehydrated")
    burst_s: Span | None = None
    test_spot: bool = Field(False, description="needs a hidden test spot first")
    tries_next: bool = Field(
        False, description="tries the liquid of the step it stands before on the zone's hidden spot"
    )
    look_after_h: tuple[float, ...] = Field(
        (), description="hours after which to look, chamber work"
    )

    @model_validator(mode="after")
    def wet_agents_have_amounts(self) -> Self:
        """Refuse an agent without an amount: its air could not be judged."""
        if self.agent and self.amount is None and self.strength is not None:
            raise ValueError("an agent with a strength needs an amount")
        return self

    @model_validator(mode="after")
    def its_own_figures_protect(self) -> Self:
        """Refuse a reading that cannot be told apart, or under which less would be done."""
        if bool(self.also) is not bool(self.stands):
            raise ValueError("also and stands go together: say why its own figures are followed")
        twice = Counter((self.source, *(each.source for each in self.also)))
        if any(times > 1 for times in twice.values()):
            raise ValueError("also: one reading a document, and none of the entry's own; join them")
        for each in self.also:
            own, read = self.dwell_s, each.dwell_s
            if self.agent and own and read and read.most < own.most:
                raise ValueError(
                    f"also: {each.source} ends earlier ({read.most:g} s) than the entry "
                    f"({own.most:g} s); the shorter protects, make it the entry's own"
                )
        return self

    @property
    def followable(self) -> tuple[SourceId, ...]:
        """The documents whose figures a person may follow, its own first."""
        return (self.source, *(each.source for each in self.also if each.figures))

    def followed(self, source: SourceId | None) -> Method:
        """Return the method with the figures of the reading that a person follows, if any."""
        found = next((each.figures for each in self.also if each.source == source), {})
        return self.model_copy(update=found)

    @model_validator(mode="after")
    def a_trial_borrows_its_liquid(self) -> Self:
        """Refuse a trial with a liquid of its own, or without the amount that its air needs."""
        if self.tries_next and (self.agent or self.with_ or self.strength):
            raise ValueError("tries_next takes the liquid of the step that follows; remove its own")
        if self.tries_next and self.amount is None:
            raise ValueError("tries_next needs an amount: the air is judged for it")
        return self


class Equipment(Entry):
    """Something the bench may have or lack."""

    name: Text
    assumed: bool = Field(description="taken as present unless the bench says otherwise")
    counts: Mapping[Literal["control", "mask"], Id] = Field(
        default_factory=dict, description="what rules about the bench take it for"
    )


class AirControl(Entry):
    """A control of the air at the bench, with the figures the arithmetic uses for it."""

    name: Text
    cost_rank: int = Field(ge=0, description="lower is cheaper and easier")
    air_changes_per_h: float | None = Field(None, ge=0, le=100)
    captured_fraction: float = Field(0.0, ge=0, lt=1)
    air_speed_m_per_min: float | None = Field(None, gt=0)
    outdoors: bool = False
    sentence: Text
