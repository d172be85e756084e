"""The loaded knowledge: every entry by kind and id, its place, its schema, and a digest of all."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, NamedTuple

from pydantic import BaseModel

from triage.errors import TriageError, Where, did_you_mean
from triage.knowledge.agents import Agent, Authority, Circumstance, Element, Hazard, Material
from triage.knowledge.base import Source
from triage.knowledge.judgement import Judgement
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
from triage.yamltext import Parsed, parse_yaml, read_text


def line_inside(root: Path, where: Where, path: tuple[str | int, ...]) -> Where:
    """Return the place of a part of an entry.

    Parameters
    ----------
    root  the rules folder
    where file and line of the entry
    path  keys and list indexes that lead from the entry to the part

    Returns
    -------
    The place with the line of the part, of the nearest part around it if it is not there, or of
    the entry if the file cannot be read any more.
    """
    inside = where.file.partition("/")[2]
    try:
        stamp = (root / inside).stat().st_mtime_ns
        parsed = _parsed(root / inside, where.file, stamp)
    except (OSError, TriageError):
        return where
    if isinstance(parsed.data, dict):
        return replace(where, line=parsed.line_of(path))
    for index in range(len(parsed.data or ())):
        if parsed.line_of((index,)) == where.line:
            return replace(where, line=parsed.line_of((index, *path)))
    return where


@lru_cache(maxsize=4)
def _parsed(path: Path, shown_as: str, stamp: int) -> Parsed:  # noqa: ARG001  (part of the key)
    """Return a parsed file; several faults in one file are looked up in one reading of it."""
    return parse_yaml(read_text(path, shown_as), shown_as)


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


class Part(NamedTuple):
    """Where a part of a rule stands: at ``path`` of an entry of another kind.

    ``inside`` leads by keys and list indexes to the part of the rule; empty for the whole rule.
    """

    kind: str
    entry: str
    path: tuple[str | int, ...] = ()
    inside: tuple[str | int, ...] = ()

    def of(self, *inside: str | int) -> Part:
        """Return that this part of the rule stands here."""
        return self._replace(inside=inside)

    def deeper(self, *keys: str | int) -> Part:
        """Return a place further inside the entry."""
        return self._replace(path=(*self.path, *keys))


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
        rule: Rule = self.require("rule", rule_id)
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

    def outcomes_at(self, method: str | None) -> Outcomes | None:
        """Return what a pass of a method may come to, None where the method is not known."""
        held = self.methods.get(method or "")
        return self.outcomes[held.outcomes] if held else None

    def outcome_words(self, method: str | None, outcome: str) -> str:
        """Return the words of an outcome at a method, those of the record at any other step."""
        kind = self.outcomes_at(method)
        return (kind.words if kind else {}).get(outcome, outcome.replace("-", " "))

    def table(self, kind: str) -> Mapping[str, BaseModel]:
        """Return all entries of one kind, or all rules, by id."""
        if kind == "rule":
            return self.rule_index
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


def schemas() -> Mapping[str, type[BaseModel]]:
    """Return the model of each kind of knowledge entry, by kind."""
    return {
        **{kind: model for kind, (model, _) in KINDS.items()},
        "rule": Rule,
        "judgement": Judgement,
    }


def document(model: type[BaseModel]) -> dict[str, Any]:
    """Return the JSON Schema of one entry as a document of its own."""
    found = model.model_json_schema(by_alias=True)
    found["$schema"] = "https://json-schema.org/draft/2020-12/schema"
    return found


def schema_of(kind: str) -> dict[str, Any]:
    """Return the JSON Schema of a file of this kind: a list of entries, or one entry a file."""
    known = schemas()
    if kind not in known:
        raise TriageError(f'unknown kind "{kind}"', mend=did_you_mean(kind, known))
    entry = document(known[kind])
    if kind in ONE_A_FILE or kind == "judgement":
        return entry
    definitions = entry.pop("$defs", {})
    uri = entry.pop("$schema")
    return {
        "$schema": uri,
        "title": f"{kind} entries",
        "type": "array",
        "items": entry,
        "$defs": definitions,
    }
