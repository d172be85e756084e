"""Read the rules folder, check it as a whole, and return it with a digest.

All faults of a run are gathered, each with file, line, entry and mend.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterator, Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import BaseModel, ValidationError

from triage.errors import TriageError, Where, did_you_mean, raise_faults
from triage.knowledge.book import ATTRIBUTES, KINDS, ONE_A_FILE, Knowledge
from triage.knowledge.checks import cross_check
from triage.knowledge.gather import Gathered
from triage.knowledge.judgement import Judgement
from triage.knowledge.rules import BY_ROOM, FAMILIES, Family, Rule
from triage.yamltext import Parsed, parse_yaml, read_text

# pydantic's word for a fault -> what to do about it.
MENDS = {
    "string_pattern_mismatch": "use small letters, digits and hyphens",
    "string_too_short": "write a text",
    "string_type": "put the text in quotes",
    "float_parsing": "write a number, and its unit under unit:",
    "float_type": "write a number, and its unit under unit:",
    "int_parsing": "write a whole number",
    "int_from_float": "write a whole number",
    "tuple_type": "write a list: one - a line, or [a, b]",
    "too_short": "add what is missing to the list",
}
Raw = tuple[Any, Parsed, tuple[Any, ...], str]


class _Reader:
    """Reads entries of one rules folder and gathers faults and places."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.faults: list[TriageError] = []
        self.places: dict[tuple[str, str], Where] = {}
        self.raw: dict[str, Any] = {}
        self.seen: set[str] = set()

    def parse(self, path: Path) -> Parsed | None:
        """Return one parsed file, or None after noting the fault."""
        shown = f"{self.folder.name}/{path.relative_to(self.folder).as_posix()}"
        self.seen.add(shown)
        try:
            parsed = parse_yaml(read_text(path, shown), shown)
        except TriageError as fault:
            self.faults.append(fault)
            return None
        self.raw[shown] = parsed.data
        return parsed

    def refuse_unread(self) -> None:
        """Note each file that nothing reads: what stands in it would be taken to hold."""
        for path in sorted(self.folder.rglob("*.yaml")):
            shown = f"{self.folder.name}/{path.relative_to(self.folder).as_posix()}"
            if shown not in self.seen:
                mend = "move its entries to the file of their kind, or take it away"
                self.faults.append(TriageError("nothing reads this file", Where(shown), mend))

    def entries(self, kind: str, target: str) -> Iterator[Raw]:
        """Yield each raw entry of a kind with its file and its path in it."""
        place = self.folder / target
        files = sorted(place.glob("*.yaml")) if place.is_dir() else [place]
        if place.is_dir() and not files:
            where = Where(f"{self.folder.name}/{target}")
            self.faults.append(TriageError("the folder is empty", where, f"add files: {kind}"))
        for path in files:
            parsed = self.parse(path)
            if parsed is None:
                continue
            shown = f"{self.folder.name}/{path.relative_to(self.folder).as_posix()}"
            if isinstance(parsed.data, list) and kind in ONE_A_FILE:
                mend = "give each a file of its own, named as its id"
                self.faults.append(TriageError(f"one {kind} a file", Where(shown, 1), mend))
            elif isinstance(parsed.data, list):
                for index, entry in enumerate(parsed.data):
                    yield entry, parsed, (index,), shown
            elif isinstance(parsed.data, dict):
                yield parsed.data, parsed, (), shown
            else:
                what = "no entries" if parsed.data is None else "a list of entries is expected"
                self.faults.append(TriageError(what, Where(shown, 1), "begin with - id:"))

    def table(self, kind: str, model: type[BaseModel], target: str) -> dict[str, Any]:
        """Return all valid entries of a kind by id, in file order."""
        table: dict[str, Any] = {}
        for raw in self.entries(kind, target):
            made = self.validate(kind, model, raw)
            if made is None:
                continue
            _, parsed, path, shown = raw
            entry_id = made.id  # type: ignore[attr-defined]
            where = Where(shown, parsed.line_of(path), f'{kind} "{entry_id}"')
            # A rule's id is its name in every family: all files of rules are held together.
            if (kind, entry_id) in self.places:
                first = self.places[kind, entry_id]
                self.faults.append(
                    TriageError(
                        "this id is used twice",
                        where,
                        f"rename one; the first stands at {first.file}:{first.line}",
                    )
                )
                continue
            stem = Path(shown).stem
            if not path and stem != entry_id:
                mend = f"name the file {entry_id}.yaml, or correct the id"
                self.faults.append(TriageError(f'the file is named "{stem}"', where, mend))
            table[entry_id] = made
            self.places[kind, entry_id] = where
        return table

    def validate(self, kind: str, model: type[BaseModel], raw: Raw) -> BaseModel | None:
        """Return the validated entry, or None after noting each of its faults."""
        entry, parsed, path, shown = raw
        name = entry.get("id", "") if isinstance(entry, Mapping) else ""
        label = f'{kind} "{name}"' if name else kind
        try:
            return model.model_validate(entry)
        except ValidationError as errors:
            for error in errors.errors(include_url=False):
                where = Where(shown, parsed.line_of((*path, *error["loc"])), label)
                self.faults.append(explain(error, model, where))
            return None


def explain(error: Any, model: type[BaseModel], where: Where) -> TriageError:
    """Return a validation error of pydantic in the words of this project."""
    loc = ".".join(str(part) for part in error["loc"])
    last = str(error["loc"][-1]) if error["loc"] else ""
    if error["type"] == "extra_forbidden":
        known = _keys_at(model, error["loc"][:-1])
        return TriageError(f'unknown key "{loc}"', where, did_you_mean(last, known))
    if error["type"] == "missing":
        return TriageError(f'"{loc}" is missing', where, f"add {last}:")
    if error["type"].startswith("model_"):
        return TriageError(f"{loc or 'this entry'} is not an entry", where, "write key: value")
    given = error.get("input")
    if error["type"] in ("literal_error", "enum"):
        known = re.findall(r"'([^']*)'", str(error["ctx"]["expected"]))
        return TriageError(f'{loc} is "{given}"', where, did_you_mean(str(given), known))
    message = str(error["msg"]).removeprefix("Value error, ")
    shown = f" (given: {given!r})" if isinstance(given, str | int | float | bool) else ""
    text = f"{loc}: {message}{shown}" if loc else message
    return TriageError(text, where, MENDS.get(error["type"], "correct the value"))


def _keys_at(model: type[BaseModel], loc: tuple[Any, ...]) -> list[str]:
    """Return the keys that the model at a place inside another one knows."""
    at: Any = model
    for step in loc:
        if isinstance(step, int) or not (isinstance(at, type) and issubclass(at, BaseModel)):
            continue
        field = at.model_fields.get(str(step))
        at = _inner(field.annotation) if field else None
    if not (isinstance(at, type) and issubclass(at, BaseModel)):
        return []
    return [field.alias or name for name, field in at.model_fields.items()]


def _inner(annotation: Any) -> Any:
    """Return the model inside Optional[...] or tuple[...], or the annotation itself."""
    for part in getattr(annotation, "__args__", ()):
        if isinstance(part, type) and issubclass(part, BaseModel):
            return part
        found = _inner(part)
        if found is not None and found is not part:
            return found
    return annotation


def digest_of(raw: Mapping[str, Any]) -> str:
    """Return a digest of all values of all files; comments and layout do not count."""
    text = json.dumps(raw, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def load_knowledge(folder: Path | str) -> Knowledge:
    """Return the knowledge in a rules folder.

    It is read from its files each time: what decides what is forbidden stands nowhere else.

    Parameters
    ----------
    folder  path of a rules folder

    Raises
    ------
    TriageError: the folder is missing, or any entry is wrong; every fault is named with file,
    line, entry and mend. Rules are checked further by ``triage.engine.normal.normalise``.
    """
    root = Path(folder)
    if not root.is_dir():
        raise TriageError("no such rules folder", Where(str(folder)), "check --rules")
    reader = _Reader(root)
    tables = {ATTRIBUTES[kind]: reader.table(kind, *where) for kind, where in KINDS.items()}
    rules: dict[Family, tuple[Rule, ...]] = {}
    for family in FAMILIES:
        if family not in BY_ROOM:
            rules[family] = tuple(reader.table("rule", Rule, f"{family}.yaml").values())
    judgement = _judgement(reader)
    reader.refuse_unread()
    raise_faults(reader.faults)
    knowledge = Knowledge(
        **tables,
        rules=rules,
        judgement=judgement,
        digest=digest_of(reader.raw),
        places=reader.places,
        root=root,
    )
    made = Gathered(knowledge)
    rules |= made.rules
    knowledge = replace(knowledge, rules={f: rules[f] for f in FAMILIES}, parts=made.parts)
    raise_faults([*made.faults, *cross_check(knowledge)])
    return knowledge


def _judgement(reader: _Reader) -> Any:
    parsed = reader.parse(reader.folder / "judgement.yaml")
    if parsed is None:
        return None
    shown = f"{reader.folder.name}/judgement.yaml"
    reader.places["judgement", ""] = Where(shown, 1, "judgement")
    return reader.validate("judgement", Judgement, (parsed.data, parsed, (), shown))
