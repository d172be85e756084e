"""Entries of the knowledge in words, made from the entries themselves, whatever their kind."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import Enum
from functools import cached_property
from types import SimpleNamespace
from typing import Any

from pydantic import BaseModel

from triage.exposure.wording import limit_words
from triage.knowledge.book import KINDS, Knowledge
from triage.show.blocks import Line

# What is looked up most stands first; the other kinds follow in the order of the knowledge.
FIRST = ("deposit", "zone", "agent", "method", "technique", "taxon", "term")
NAMES = ("name", "term", "title", "ask", "see", "because", "id")
# What a statement begins with; where it stands comes last, in brackets.
HEADS = ("text", "code", "term")
CITED = ("source", "at", "note")
LIMIT = {"authority", "basis", "value", "unit", "edition"}


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
    names = names_of(knowledge)
    order = dict.fromkeys((*FIRST, *sorted(KINDS, key=lambda kind: kind == "source")))
    kinds = {
        kind: [entry_of(knowledge, kind, key, names) for key in knowledge.table(kind)]
        # A sign is read with what it tells of, and in full among the rules.
        for kind in order
        if kind != "sign"
    }
    # Rules are read by whoever writes them: there ids stay ids.
    families = {
        f"rule: {family}": [entry_of(knowledge, "rule", rule.id, {}) for rule in rules]
        for family, rules in knowledge.rules.items()
    }
    return tuple(Shelf(kind, tuple(held)) for kind, held in {**kinds, **families}.items() if held)


def names_of(knowledge: Knowledge) -> dict[str, str]:
    """Return what the entries are called that others name by their id; no id of two names."""
    found: dict[str, set[str]] = {}
    for kind in (*FIRST, "authority", "material", "hazard", "circumstance"):
        for key, held in knowledge.table(kind).items():
            found.setdefault(key, set()).add(_name(key, held))
    return {key: next(iter(called)) for key, called in found.items() if len(called) == 1}


def _name(key: str, held: BaseModel) -> str:
    given = (getattr(held, name, None) for name in NAMES if name in type(held).model_fields)
    return next((str(said) for said in given if said), key)


def entry_of(knowledge: Knowledge, kind: str, key: str, names: Mapping[str, str]) -> EntryText:
    """Return one entry; ``names`` is what the others are called that it names by their id."""
    held = knowledge.table(kind)[key]
    book = None if kind == "rule" else knowledge
    return EntryText(key, _name(key, held), str(knowledge.where(kind, key)), held, names, book)


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
        return {k: v if k in ("id", "source") else _named(v, names) for k, v in content.items()}
    if isinstance(content, (list, tuple)):
        return [_named(item, names) for item in content]
    return names.get(content, content) if type(content) is str else content


def _lines(content: Any, depth: int) -> Iterator[tuple[int, str, str]]:
    for key, held in content.items():
        shown = str(key).replace("_", " ")
        if isinstance(held, dict) and "source" not in held:
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
    yield from ((depth + 1, "-", _said(item)) for item in held)


def _sentence(item: dict[str, Any]) -> str:
    """Return one statement on one line: its text or figure first, where it stands in brackets.

    What other documents print for a figure stands beside it, each with its own document.
    """
    unit = {"unit": item["unit"]} if "unit" in item else {}
    beside = "".join(f"; also {_sentence({**unit, **each})}" for each in item.get("also", ()))
    said = [str(item[name]) for name in HEADS if item.get(name)]
    if item.keys() >= LIMIT:
        said.append(limit_words(item["authority"], SimpleNamespace(**item)))
        item = {name: held for name, held in item.items() if name not in LIMIT}
    if "value" in item and "unit" in item:
        said.append(f"{_said(item['value'])} {item['unit']}")
    said += [
        f"{field.replace('_', ' ')} {_said(held)}"
        for field, held in item.items()
        if field not in {*HEADS, *CITED, "value", "unit", "also"} and held not in ("", None)
    ]
    if "value" in item and "unit" not in item:
        said.insert(0, _said(item["value"]))
    cited = "; ".join(str(item[name]) for name in CITED if item.get(name))
    return ", ".join(said) + (f" [{cited}]" if cited else "") + beside


def _said(held: Any) -> str:
    if isinstance(held, Enum):
        return str(held.value)
    if isinstance(held, bool):
        return "yes" if held else "no"
    if isinstance(held, (list, tuple)):
        return ", ".join(map(_said, held))
    if isinstance(held, float):
        return f"{held:g}"
    if held is None:
        return "none"
    return _sentence(held) if isinstance(held, dict) else str(held)


def entry_blocks(entry: EntryText) -> Iterator[Line]:
    """Yield the fields of an entry to be read."""
    for depth, key, said in entry.lines:
        if key == "-":
            yield Line(said, "-", depth)
        else:
            yield Line(f"{key}: {said}".rstrip(), "", depth, is_bold=not said)
    yield Line(f"Stands in {entry.place}")
