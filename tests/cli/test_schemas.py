"""The schemas that the program prints hold for the files and output it ships and makes."""

from __future__ import annotations

import json
from typing import Any

import jsonschema
import pytest
import yaml
from pydantic import TypeAdapter

from tests.support.knowledge import CASES, ROOT
from triage.cli import main
from triage.knowledge.book import KINDS, schema_of
from triage.plan.model import Plan, plan_data
from triage.service.workshop import Workshop
from triage.yamltext import parse_yaml


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_knowledge_files_fit_their_schema(kind: str) -> None:
    schema = schema_of(kind)
    jsonschema.Draft202012Validator.check_schema(schema)
    validator = jsonschema.Draft202012Validator(schema)
    place = ROOT / "rules" / KINDS[kind][1]
    files = sorted(place.glob("*.yaml")) if place.is_dir() else [place]
    assert files
    for path in files:
        validator.validate(parse_yaml(path.read_text(encoding="utf-8"), path.name).data)


def test_schema_refuses_a_wrong_entry() -> None:
    with pytest.raises(jsonschema.ValidationError):
        jsonschema.validate([{"id": "x", "name": "y"}], schema_of("zone"))


def test_plan_json_fits_its_schema(workshop: Workshop) -> None:
    schema: dict[str, Any] = TypeAdapter(Plan).json_schema(mode="serialization")
    for entry in workshop.entries():
        plan = workshop.plan(workshop.load(entry.id))
        jsonschema.validate(json.loads(json.dumps(plan_data(plan))), schema)


def test_demo_data_are_marked_as_invented() -> None:
    for path in sorted((CASES).glob("*.yaml")):
        assert yaml.safe_load(path.read_text(encoding="utf-8"))["invented"] is True, path.name


@pytest.mark.parametrize(("kind", "files"), [("bench", ["bench.yaml"]), ("case", None)])
def test_own_files_fit_the_schema_that_the_command_prints(
    kind: str, files: list[str] | None, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(["schema", kind]) == 0
    validator = jsonschema.Draft202012Validator(json.loads(capsys.readouterr().out))
    places = [CASES / name for name in files or ()] or [
        path for path in sorted((CASES).glob("*.yaml")) if path.name != "bench.yaml"
    ]
    for path in places:
        validator.validate(
            json.loads(json.dumps(parse_yaml(path.read_text("utf-8"), path.name).data, default=str))
        )
    assert not validator.is_valid({"format": "one"})
