"""JSON Schemas of the knowledge files, exported from the models for editor completion."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from pydantic import BaseModel

from triage.errors import TriageError, did_you_mean
from triage.knowledge.book import KINDS, ONE_A_FILE
from triage.knowledge.judgement import Judgement
from triage.knowledge.rules import Rule


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
