"""Entries of the knowledge in words, made from the entries themselves, whatever their kind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from enum import Enum
from functools import cached_property
from typing import Any

from pydantic import BaseModel
from textual.content import Content

from triage.knowledge.book import KINDS, Knowledge

# What is looked up most stands first; the other kinds follow in the order of the knowledge.
FIRST = ("deposit", "zone", "agent", "method", "technique", "taxon", "term")
NAMES = ("name", "term", "title", "ask", "see", "because", "id")


@dataclass(frozen=True)
class EntryText:
    """One entry: its name, and its fields in words, which are made when they are first read."""

    id: str
    name: str
    place: str
    held: BaseModel
    names: Mapping[str, str] = field(default_factory=dict, repr=False, compare=False)
    knowledge: Knowledge | None = field(default=None, repr=False, compare=False)

    @cached_property
    def lines(self) -> tuple[tuple[int, str, str], ...]:
        """The fields: how deep, name, what is said."""
        content = self.held.model_dump(mode="python", by_alias=True, exclude_defaults=True)
        if self.knowledge is not None:
            content = _told(content, self.knowledge)
        return tuple(_lines(_named(content, self.names), 0))

    @cached_property
    def searched(self) -> str:
        """All of it in small letters, to search."""
        text = " ".join((self.id, *(f"{field} {said}" for _, field, said in self.lines)))
        return text.casefold()


@dataclass(frozen=True)
class Shelf:
    """All entries of one kind."""

    kind: str
    entries: tuple[EntryText, ...]


# The last knowledge whose entries were put into words, with what came of it.
_last: list[tuple[Knowledge, tuple[Shelf, ...]]] = []


def shelves(knowledge: Knowledge) -> tuple[Shelf, ...]:
    """Return all entries by kind, the rules by family behind them; those of the last are kept."""
    if not _last or _last[0][0] is not knowledge:
        _last[:] = [(knowledge, _all_shelves(knowledge))]
    return _last[0][1]


def _all_shelves(knowledge: Knowledge) -> tuple[Shelf, ...]:
    found = []
    names = _names(knowledge)
    # A sign is read with what it tells of, and in full among the rules.
    for kind in sorted((kind for kind in KINDS if kind != "sign"), key=_place):
        table = knowledge.table(kind)
        if table:
            entries = tuple(
                replace(_entry(knowledge, kind, key, held, names), knowledge=knowledge)
                for key, held in table.items()
            )
            found.append(Shelf(kind, entries))
    for family, rules in knowledge.rules.items():
        if rules:
            entries = tuple(_entry(knowledge, "rule", rule.id, rule) for rule in rules)
            found.append(Shelf(f"rule: {family}", entries))
    return tuple(found)


def _place(kind: str) -> int:
    return FIRST.index(kind) if kind in FIRST else len(FIRST) + (kind == "source")


def _names(knowledge: Knowledge) -> dict[str, str]:
    """Return what the entries are called that others name by their id; no id of two names."""
    found: dict[str, set[str]] = {}
    for kind in FIRST:
        for key, held in knowledge.table(kind).items():
            found.setdefault(key, set()).add(_name(key, held))
    return {key: next(iter(called)) for key, called in found.items() if len(called) == 1}


def _name(key: str, held: BaseModel) -> str:
    given = (getattr(held, name, None) for name in NAMES if name in type(held).model_fields)
    return next((str(said) for said in given if said), key)


def _entry(
    knowledge: Knowledge,
    kind: str,
    key: str,
    held: BaseModel,
    names: Mapping[str, str] | None = None,
) -> EntryText:
    # Rules are read by whoever writes them: there ids stay ids.
    where = str(knowledge.where(kind, key))
    return EntryText(key, _name(key, held), where, held, names or {})


def _told(content: dict[str, Any], knowledge: Knowledge) -> dict[str, Any]:
    """Return an entry with its signs and its ladder as reasons; patterns and cases are left out."""
    said = {key: held for key, held in content.items() if key not in ("cases", "signs", "ladder")}
    for key in ("signs", "raised_by"):
        signs = content.get(key, ())
        if isinstance(signs, dict):
            signs = [{"id": name, **weight} for name, weight in signs.items()]
        if signs:
            said[key] = [{"text": _sign(knowledge, sign)} for sign in signs]
    if "ladder" in content:
        said["ladder"] = [
            {
                "text": part["because"].removesuffix("."),
                "method": [knowledge.methods[name].name for name in part["method"]],
                **({"where": part["where"]} if "where" in part else {}),
            }
            for part in content["ladder"]
        ]
    return said


def _sign(knowledge: Knowledge, sign: Mapping[str, Any]) -> str:
    because = sign.get("because") or knowledge.rule(f"recognise-{sign['id']}").because
    return f"{sign['weight']:+g} {because}" if "weight" in sign else because


def _named(content: Any, names: Mapping[str, str]) -> Any:
    """Return a content with the ids of other entries replaced by what these are called."""
    if isinstance(content, dict):
        return {k: v if k == "id" else _named(v, names) for k, v in content.items()}
    if isinstance(content, (list, tuple)):
        return [_named(item, names) for item in content]
    return names.get(content, content) if type(content) is str else content


def _lines(content: Any, depth: int) -> Iterator[tuple[int, str, str]]:
    for key, held in content.items():
        shown = str(key).replace("_", " ")
        if isinstance(held, Enum):
            yield depth, shown, str(held.value)
        elif isinstance(held, dict):
            yield depth, shown, ""
            yield from _lines(held, depth + 1)
        elif isinstance(held, (list, tuple)):
            yield from _listed(shown, held, depth)
        elif held not in ("", None):
            yield depth, shown, _said(held)


def _listed(
    shown: str, held: list[Any] | tuple[Any, ...], depth: int
) -> Iterator[tuple[int, str, str]]:
    if all(not isinstance(item, (dict, list, tuple)) for item in held):
        if held:
            yield depth, shown, ", ".join(_said(item) for item in held)
        return
    yield depth, shown, ""
    for item in held:
        if isinstance(item, dict):
            yield depth + 1, "-", _sentence(item)
        else:
            yield depth + 1, "-", str(item)


def _sentence(item: dict[str, Any]) -> str:
    """Return one entry of a list on one line: its text first, its source in brackets."""
    said = [str(item["text"])] if item.get("text") else []
    said += [
        f"{field.replace('_', ' ')} {_said(held)}"
        for field, held in item.items()
        if field not in {"text", "source"} and held not in ("", None)
    ]
    source = f" [{item['source']}]" if item.get("source") else ""
    return ", ".join(said) + source


def _said(held: Any) -> str:
    if isinstance(held, Enum):
        return str(held.value)
    if isinstance(held, bool):
        return "yes" if held else "no"
    if isinstance(held, (list, tuple)):
        return ", ".join(map(_said, held))
    if isinstance(held, float):
        return f"{held:g}"
    if isinstance(held, dict):
        return ", ".join(f"{field} {_said(inner)}" for field, inner in held.items())
    return str(held)


def entry_text(entry: EntryText) -> Content:
    """Return one entry to be read."""
    parts: list[Content | str | tuple[str, str]] = [(f"{entry.name}\n\n", "bold")]
    for depth, key, said in entry.lines:
        indent = "  " * depth
        if key == "-":
            parts.append(f"{indent}- {said}\n")
        else:
            parts += [f"{indent}", (f"{key}: ", "bold"), f"{said}\n"]
    parts.append(f"\nStands in {entry.place}")
    return Content.assemble(*parts)
