"""The loaded knowledge: every entry by kind and id, where it stands, and a digest of it all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from triage.errors import TriageError, Where, did_you_mean
from triage.knowledge.agents import Agent, Authority, Circumstance, Element, Hazard, Material
from triage.knowledge.base import Source
from triage.knowledge.judgement import Judgement
from triage.knowledge.lines import line_inside
from triage.knowledge.methods import AirControl, Equipment, Method, Outcomes, Technique
from triage.knowledge.rules import Family, Rule, Sign
from triage.knowledge.specimen import (
    BodyPlan,
    Condition,
    Deposit,
    Fragility,
    Question,
    StopSign,
    Taxon,
    Term,
    Trait,
    Zone,
)
from triage.knowledge.tables import Dose, Gel, Salt

# kind -> (model, file or folder below the rules folder). A folder holds one entry a file
# (agents, deposits) or several files of the same kind (methods by stage).
KINDS: Mapping[str, tuple[type[BaseModel], str]] = {
    "source": (Source, "sources"),
    "authority": (Authority, "authorities.yaml"),
    "hazard": (Hazard, "hazards.yaml"),
    "element": (Element, "elements.yaml"),
    "circumstance": (Circumstance, "circumstances.yaml"),
    "material": (Material, "materials.yaml"),
    "equipment": (Equipment, "equipment.yaml"),
    "agent": (Agent, "agents"),
    "technique": (Technique, "techniques.yaml"),
    "outcomes": (Outcomes, "outcomes.yaml"),
    "method": (Method, "methods"),
    "body-plan": (BodyPlan, "bodyplans.yaml"),
    "zone": (Zone, "zones.yaml"),
    "trait": (Trait, "traits.yaml"),
    "fragility": (Fragility, "fragility.yaml"),
    "taxon": (Taxon, "taxa.yaml"),
    "sign": (Sign, "signs.yaml"),
    "deposit": (Deposit, "deposits"),
    "condition": (Condition, "conditions.yaml"),
    "question": (Question, "questions.yaml"),
    "stop": (StopSign, "stops.yaml"),
    "term": (Term, "glossary.yaml"),
    "salt": (Salt, "salts.yaml"),
    "gel": (Gel, "gels.yaml"),
    "dose": (Dose, "doses.yaml"),
    "control": (AirControl, "controls.yaml"),
}
# Of these each file holds one entry and is named as its id.
ONE_A_FILE = frozenset({"agent", "deposit"})


@dataclass(frozen=True, slots=True)
class Part:
    """Where a part of a rule stands: at ``path`` of an entry of another kind.

    ``inside`` leads by keys and list indexes to the part of the rule; empty for the whole rule.
    """

    inside: tuple[str | int, ...]
    kind: str
    entry: str
    path: tuple[str | int, ...]


@dataclass(frozen=True)
class Knowledge:
    """All entries, in file order, with their places and the digest of the whole."""

    sources: Mapping[str, Source]
    authorities: Mapping[str, Authority]
    hazards: Mapping[str, Hazard]
    elements: Mapping[str, Element]
    circumstances: Mapping[str, Circumstance]
    materials: Mapping[str, Material]
    equipment: Mapping[str, Equipment]
    agents: Mapping[str, Agent]
    techniques: Mapping[str, Technique]
    outcomes: Mapping[str, Outcomes]
    methods: Mapping[str, Method]
    body_plans: Mapping[str, BodyPlan]
    zones: Mapping[str, Zone]
    traits: Mapping[str, Trait]
    fragility: Mapping[str, Fragility]
    taxa: Mapping[str, Taxon]
    signs: Mapping[str, Sign]
    deposits: Mapping[str, Deposit]
    conditions: Mapping[str, Condition]
    questions: Mapping[str, Question]
    stops: Mapping[str, StopSign]
    terms: Mapping[str, Term]
    salts: Mapping[str, Salt]
    gels: Mapping[str, Gel]
    doses: Mapping[str, Dose]
    controls: Mapping[str, AirControl]
    rules: Mapping[Family, tuple[Rule, ...]]
    judgement: Judgement
    digest: str
    places: Mapping[tuple[str, str], Where] = field(default_factory=dict, compare=False)
    parts: Mapping[str, tuple[Part, ...]] = field(default_factory=dict, compare=False)
    root: Path | None = field(default=None, compare=False)

    def where(self, kind: str, entry_id: str, *path: str | int) -> Where:
        """Return file, line and name of one entry, as far as known.

        ``path`` leads by keys and list indexes to a part of the entry, whose line is given then.
        A rule that is made of other entries is shown where that part of it is written.
        """
        if kind == "rule" and entry_id in self.parts:
            held = [p for p in self.parts[entry_id] if p.inside == path[: len(p.inside)]]
            part = max(held, key=lambda p: len(p.inside))
            kind, entry_id, path = part.kind, part.entry, (*part.path, *path[len(part.inside) :])
        where = self.places.get((kind, entry_id), Where(entry=f'{kind} "{entry_id}"'))
        return line_inside(self.root, where, path) if self.root and path else where

    def at(self, part: Part) -> Where:
        """Return file, line and name of the entry that a part of a rule stands in."""
        return self.where(part.kind, part.entry, *part.path)

    def rule(self, rule_id: str) -> Rule:
        """Return the rule with this id; an unknown id is a ``TriageError``."""
        rule = self.rule_index.get(rule_id)
        if rule is None:
            mend = did_you_mean(rule_id, self.rule_index)
            raise TriageError(f'unknown rule "{rule_id}"', mend=mend)
        return rule

    @cached_property
    def rule_index(self) -> Mapping[str, Rule]:
        """Return every rule by id."""
        return {rule.id: rule for rules in self.rules.values() for rule in rules}

    def require(self, kind: str, entry_id: str) -> Any:
        """Return the entry of this kind and id; an unknown id is a ``TriageError``."""
        table = self.table(kind)
        if entry_id not in table:
            raise TriageError(f'unknown {kind} "{entry_id}"', mend=did_you_mean(entry_id, table))
        return table[entry_id]

    def outcome_words(self, method: str | None, outcome: str) -> str:
        """Return the words of an outcome at a method, those of the record at any other step."""
        held = self.methods.get(method or "")
        words = self.outcomes[held.outcomes].words if held else {}
        return words.get(outcome, outcome.replace("-", " "))

    def table(self, kind: str) -> Mapping[str, BaseModel]:
        """Return all entries of one kind, by id."""
        table: Mapping[str, BaseModel] = getattr(self, ATTRIBUTES[kind])
        return table


_PLURALS = {
    "authority": "authorities",
    "equipment": "equipment",
    "fragility": "fragility",
    "outcomes": "outcomes",
    "taxon": "taxa",
}
# kind -> where its table stands in ``Knowledge``
ATTRIBUTES: Mapping[str, str] = {
    kind: _PLURALS.get(kind, f"{kind.replace('-', '_')}s") for kind in KINDS
}
