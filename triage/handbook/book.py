"""Put the handbook together: one page, all pages of a kind, or everything."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import Any

from triage.errors import TriageError, did_you_mean
from triage.handbook.agentpage import agent_lines
from triage.handbook.links import Links, links_of
from triage.handbook.pages import (
    deposit_lines,
    method_lines,
    question_lines,
    source_lines,
    taxon_lines,
    zone_lines,
)
from triage.handbook.words import names, rule_lines
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import FAMILIES

KINDS = ("deposit", "zone", "agent", "method", "rule", "taxon", "question", "source")
TITLES = {
    "deposit": "Deposits",
    "zone": "Zones",
    "agent": "Agents",
    "method": "Methods",
    "rule": "Rules",
    "taxon": "Taxon groups",
    "question": "Questions",
    "source": "Sources",
}
INTRODUCTION = """\
Made from the rules folder; nothing here is written twice. Square brackets name the source of
each statement; the sources stand at the end. Weights of evidence run from -1 (excludes) to just
below 1; 0.2 is slight, 0.4 moderate, 0.6 strong, 0.8 very strong. Harshness runs from 0 (none)
to 5 (worst). The safety data sheet, local rules and licensed practice come before this book."""


def handbook(knowledge: Knowledge, kind: str | None = None, entry: str | None = None) -> str:
    """Return the handbook as Markdown.

    Parameters
    ----------
    kind  one of ``KINDS``; None for everything
    entry id of one entry of that kind; None for all of them

    Raises
    ------
    TriageError: unknown kind or entry; the mend names the nearest one.
    """
    if kind is not None and kind not in KINDS:
        raise TriageError(f'unknown kind "{kind}"', mend=did_you_mean(kind, KINDS))
    links = links_of(knowledge)
    if kind is None:
        lines = _whole(knowledge, links)
    elif entry is None:
        lines = _shelf(knowledge, links, kind)
    else:
        lines = _page(knowledge, links, kind, entry, "#")
    return "\n".join(_tidied(lines)) + "\n"


def _whole(knowledge: Knowledge, links: Links) -> Iterator[str]:
    yield "# Handbook of the rulebase"
    yield ""
    yield f"Knowledge {knowledge.digest}."
    yield ""
    yield INTRODUCTION
    yield ""
    yield from (f"- {TITLES[kind]}: {len(_table(knowledge, kind))}" for kind in KINDS)
    for kind in KINDS:
        yield ""
        yield from _shelf(knowledge, links, kind)


def _shelf(knowledge: Knowledge, links: Links, kind: str) -> Iterator[str]:
    yield f"# {TITLES[kind]}"
    if kind == "rule":
        for family in FAMILIES:
            rules = knowledge.rules.get(family, ())
            if rules:
                yield ""
                yield f"## Family {family.value}"
                for rule in rules:
                    yield ""
                    yield from _page(knowledge, links, kind, rule.id, "###")
        return
    for entry in _table(knowledge, kind):
        yield ""
        yield from _page(knowledge, links, kind, entry, "##")


def _table(knowledge: Knowledge, kind: str) -> Mapping[str, Any]:
    return knowledge.rule_index if kind == "rule" else knowledge.table(kind)


def _page(knowledge: Knowledge, links: Links, kind: str, entry: str, level: str) -> Iterator[str]:
    held = knowledge.rule(entry) if kind == "rule" else knowledge.require(kind, entry)
    name = getattr(held, "name", "")
    yield f"{level} {name} (`{entry}`)" if name else f"{level} `{entry}`"
    yield ""
    yield from _body(knowledge, links, kind, held)


def _body(knowledge: Knowledge, links: Links, kind: str, held: Any) -> Iterator[str]:
    makers: Mapping[str, Callable[[], Iterator[str]]] = {
        "deposit": lambda: deposit_lines(knowledge, links, held),
        "zone": lambda: zone_lines(knowledge, links, held),
        "agent": lambda: agent_lines(knowledge, held, links.users.get(held.id, ())),
        "method": lambda: method_lines(knowledge, held),
        "rule": lambda: rule_lines(held, names(knowledge, "method", links.methods[held.id])),
        "taxon": lambda: taxon_lines(knowledge, held),
        "question": lambda: question_lines(held),
        "source": lambda: source_lines(held),
    }
    return makers[kind]()


def _tidied(lines: Iterator[str]) -> Iterator[str]:
    """Yield lines without trailing blanks and without two empty lines in a row."""
    before = "x"
    for block in lines:
        for line in block.split("\n"):
            shown = line.rstrip()
            if shown or before:
                yield shown
            before = shown
