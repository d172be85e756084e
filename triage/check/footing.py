"""What the knowledge rests on: source marks counted by part of it and by kind of source."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

from triage.knowledge.book import Knowledge
from triage.yamltext import parse_yaml, read_text

KINDS = {
    "published": "documents",
    "standard": "documents",
    "library": "libraries",
    "derived": "derived",
    "common-practice": "practice",
    "judgement": "judgement",
    "from-memory": "memory",
}
COLUMNS = tuple(dict.fromkeys(KINDS.values()))
UNDOCUMENTED = ("practice", "judgement", "memory")
SOURCE_KEYS = ("source", "range_source", "caution_source")
# What counts apart from the rest of an agent's file.
OF_AGENTS = {"limits": "limits"} | dict.fromkeys(
    ("h_statements", "carcinogen", "skin", "incompatible"), "hazards"
)
PARTS = {
    "agents": "agents",
    "authorities": "limits",
    "hazards": "hazards",
    "forbid": "forbids",
    "gate": "forbids",
    "recognise": "signs",
    "deposits": "signs",
    "questions": "signs",
    "caution": "cautions",
    "stops": "cautions",
    "methods": "methods",
    "offer": "offers and order",
    "order": "offers and order",
}
OTHER = "trade words and tables"


def footing(knowledge: Knowledge, folder: Path) -> Mapping[str, Counter[str]]:
    """Return part of the knowledge -> kind of footing -> number of source marks."""
    kinds = {source.id: str(source.kind) for source in knowledge.sources.values()}
    found: dict[str, Counter[str]] = {}
    for path in sorted(folder.rglob("*.yaml")):
        place = path.relative_to(folder)
        first = place.parts[0].removesuffix(".yaml")
        if first == "sources":
            continue
        data = parse_yaml(read_text(path, str(place)), str(place)).data
        own = OF_AGENTS if first == "agents" else {}
        for part, source in _marks(data, PARTS.get(first, OTHER), own):
            found.setdefault(part, Counter())[KINDS[kinds[source]]] += 1
    return found


def _marks(data: Any, part: str, own: Mapping[str, str]) -> Iterator[tuple[str, str]]:
    if isinstance(data, Mapping):
        for key, value in data.items():
            if key in SOURCE_KEYS and isinstance(value, str):
                yield part, value
            else:
                yield from _marks(value, own.get(key, part), own)
    elif isinstance(data, list | tuple):
        for each in data:
            yield from _marks(each, part, own)


def footing_lines(found: Mapping[str, Counter[str]]) -> Iterator[str]:
    """Yield the counts as rows of a Markdown table, with the share without a document."""
    yield f"| part | {' | '.join(COLUMNS)} | undocumented |"
    yield "|---" * (len(COLUMNS) + 2) + "|"
    whole = sum(found.values(), Counter[str]())
    for name, counts in (*sorted(found.items()), ("all", whole)):
        cells = " | ".join(str(counts[kind]) for kind in COLUMNS)
        without = sum(counts[kind] for kind in UNDOCUMENTED)
        yield f"| {name} | {cells} | {without / counts.total():.0%} |"
