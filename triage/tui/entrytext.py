"""Entries of the knowledge in words, made from the entries themselves, whatever their kind."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
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

    @cached_property
    def lines(self) -> tuple[tuple[int, str, str], ...]:
        """The fields: how deep, name, what is said."""
        content = self.held.model_dump(mode="python", by_alias=True, exclude_defaults=True)
        return tuple(_lines(content, 0))

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


def shelves(knowledge: Knowledge) -> tuple[Shelf, ...]:
    """Return all entries by kind, the rules by family behind them."""
    found = []
    for kind in sorted(KINDS, key=_place):
        table = knowledge.table(kind)
        if table:
            entries = tuple(_entry(knowledge, kind, key, held) for key, held in table.items())
            found.append(Shelf(kind, entries))
    for family, rules in knowledge.rules.items():
        if rules:
            entries = tuple(_entry(knowledge, "rule", rule.id, rule) for rule in rules)
            found.append(Shelf(f"rule: {family}", entries))
    return tuple(found)


def _place(kind: str) -> int:
    return FIRST.index(kind) if kind in FIRST else len(FIRST) + (kind == "source")


def _entry(knowledge: Knowledge, kind: str, key: str, held: BaseModel) -> EntryText:
    given = (getattr(held, field, None) for field in NAMES if field in held.model_fields_set)
    name = next((str(said) for said in given if said), key)
    return EntryText(key, name, str(knowledge.where(kind, key)), held)


def _lines(content: Any, depth: int) -> Iterator[tuple[int, str, str]]:
    for field, held in content.items():
        shown = str(field).replace("_", " ")
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
    if isinstance(held, float):
        return f"{held:g}"
    if isinstance(held, dict):
        return ", ".join(f"{field} {_said(inner)}" for field, inner in held.items())
    return str(held)


def entry_text(entry: EntryText) -> Content:
    """Return one entry to be read."""
    parts: list[Content | str | tuple[str, str]] = [(f"{entry.name}\n\n", "bold")]
    for depth, field, said in entry.lines:
        indent = "  " * depth
        if field == "-":
            parts.append(f"{indent}- {said}\n")
        else:
            parts += [f"{indent}", (f"{field}: ", "bold"), f"{said}\n"]
    parts.append(f"\nStands in {entry.place}")
    return Content.assemble(*parts)
