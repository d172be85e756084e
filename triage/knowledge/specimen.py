"""What is looked at: zones, taxon groups, deposits, conditions, questions, stop signs."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Annotated, Literal, Self, get_args

from pydantic import Field, model_validator

from triage.knowledge.agents import Hansen
from triage.knowledge.base import (
    AgentId,
    BodyPlanId,
    DepositId,
    Entry,
    FragilityId,
    Frozen,
    Grade,
    HazardId,
    Id,
    Statement,
    TechniqueId,
    Text,
    TraitId,
)
from triage.knowledge.signs import DepositRungs, NamedSigns, Rungs, Signs, WorkedCase

Stage = Literal["intake", "look", "rehydrate", "relax", "examine", "clean", "set-and-dry", "keep"]
STAGES: tuple[Stage, ...] = get_args(Stage)
# The highest grade that something stands; the worst one nothing does.
Stood = Annotated[int, Field(ge=0, le=4)]

Wetness = Literal["dry", "humid", "wet"]


class Zone(Entry):
    """A body part with its kind of surface, and what hurts it."""

    name: Text
    plans: tuple[BodyPlanId, ...] = Field(
        description="body plans that have it, ids of bodyplans.yaml"
    )
    surface: tuple[TraitId, ...] = Field(min_length=1, description="what it is made of and carries")
    hurts: tuple[Statement, ...] = Field(min_length=1)
    gentle: tuple[Statement, ...] = ()
    most_mechanical: Stood
    most_chemical: Stood
    ceiling_because: str = ""
    test_spot: Text
    rank: int = Field(description="order in which zones are worked, low first")


class BodyPlan(Entry):
    """A kind of animal outline on which zones are chosen."""

    name: Text


class Taxon(Entry):
    """A taxon group: how fragile, and what is special about it."""

    name: Text
    plan: BodyPlanId
    fragility: FragilityId
    traits: tuple[TraitId, ...] = ()
    most_chemical_dry: Grade = Field(
        0, description="what it stands, when dry, of a liquid without water, by published accounts"
    )
    changes: tuple[Statement, ...] = Field(min_length=1)
    examples: str = ""


class Trait(Entry):
    """A property of a taxon group or surface that rules speak about."""

    name: Text


class Deposit(Entry):
    """What a finding may be taken to be, and all that is known of it."""

    name: Text
    looks: Text
    speaks_for: Text
    guard: Literal["none", "protect", "hazard", "refuse", "accept"] = Field(
        "none", description="protected feature, hazard gate, refusal at intake, accept as it is"
    )
    kind: Literal["loose", "film", "bound", "crystal", "living", "natural", "metal"]
    confused_with: tuple[DepositId, ...] = Field(min_length=1)
    alike: Id | None = Field(
        None, description="a word that deposits share which no look or drop tells apart for certain"
    )
    leave_it: Text = Field(description="why it is left where no ladder is permitted")
    hansen: Hansen | None = None
    signs: Signs = Field(description="sign -> weight, -1 to below 1: what speaks for or against it")
    ladder: tuple[DepositRungs, ...] = Field((), description="what may remove it")
    cases: tuple[WorkedCase, ...] = Field(min_length=1, description="answers that settle it")

    @property
    def is_left(self) -> bool:
        """Return whether nothing is to be cleaned where it is: it holds no later work up."""
        kept = self.guard in ("protect", "accept")
        return kept or (self.guard == "none" and not self.ladder)


class Condition(Entry):
    """A state of the whole specimen that a stage works on."""

    name: Text
    stage: Stage
    full_stop: Text = Field(description="what to do when the ladder is used up")
    when_cleared: Mapping[Id, Id] = Field(
        default_factory=dict, description="answers that a cleared attempt gives: question -> answer"
    )
    signs: NamedSigns = Field((), description="what shows that the specimen is in it")
    ladder: tuple[Rungs, ...] = Field((), description="what may clear it")


class Answer(Frozen):
    """One possible answer to a question."""

    id: Id
    text: Text
    implies: Mapping[Id, Id] = Field(
        default_factory=dict, description="what else of the specimen it answers: question -> answer"
    )


class Question(Entry):
    """An observable sign, asked in words, answered with one key."""

    about: Literal["specimen", "zone"]
    ask: Text
    how: Text = Field(description="how to find out, safely")
    answers: tuple[Answer, ...] = Field(min_length=2)
    seconds: int = Field(gt=0, description="what it costs in time")
    risk: Literal["none", "touch", "micro-test"]
    liquid: AgentId | None = Field(
        None, description="agent of which a test sets a drop on the place"
    )
    rank: int = Field(description="file order for asking everything")
    stage: Stage = "examine"
    gives: Literal["sign", "state", "provenance"] = "sign"
    usual: Id | None = Field(
        None, description="what a sound specimen shows; it may be confirmed with others in one go"
    )
    clean: Id | None = Field(None, description="what a zone shows that was looked at and is clean")
    last: bool = Field(False, description="put when no look could help any more")
    alone: bool = Field(
        False, description="put by itself before the first look: until then nothing is handled"
    )
    traits: tuple[TraitId, ...] = Field((), description="put only to groups with one of these")
    surfaces: tuple[TraitId, ...] = Field((), description="put only to zones with one of these")
    after_cleaning: bool = Field(False, description="put only once the place was worked on")
    when: Mapping[Id, tuple[Id, ...]] = Field(
        default_factory=dict,
        description="put only where others are answered so: question -> answers",
    )

    @model_validator(mode="after")
    def _usual_is_an_answer(self) -> Self:
        for name, said in (("usual", self.usual), ("clean", self.clean)):
            if said is not None and said not in {each.id for each in self.answers}:
                raise ValueError(f'{name} "{said}" is none of its answers')
        return self


class Shows(Frozen):
    """Techniques and classes of agent at which a sign can show; where none is given, at any."""

    technique: tuple[TechniqueId, ...] = ()
    agent_class: tuple[Id, ...] = Field(min_length=1)


class StopSign(Entry):
    """What to see that means stop, what it means, and what to do then."""

    see: Text
    means: Text
    then: Text
    shows_at: tuple[Wetness, ...] = Field(
        ("dry", "humid", "wet"), min_length=1, description="how wet a technique it can show at"
    )
    always_at: tuple[TechniqueId, ...] = Field(
        (), description="techniques at which it always can: every method that uses them names it"
    )
    always_with: tuple[HazardId, ...] = Field(
        (), description="hazards of an agent with which it always can; ids of hazards.yaml"
    )
    always_of: tuple[Shows, ...] = Field(
        (), description="classes of agent with which it always can, by some techniques or any"
    )


class Term(Entry):
    """A word of the trade and what it means here; synonyms are not used in names."""

    term: Text
    meaning: Text
    not_: tuple[Text, ...] = Field((), alias="not")


class Fragility(Entry):
    """One grade of fragility with its ceilings; the order in the file is the order of grades."""

    name: Text
    typical: Text
    most_mechanical: Stood
    most_chemical: Stood
    because: Text
    raised_by: NamedSigns = Field(
        (), description="signs that make it at least so fragile; with $f only the place they are on"
    )
