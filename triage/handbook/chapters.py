"""Put the handbook together: one page, all pages of a kind, or everything."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from triage.errors import TriageError, did_you_mean
from triage.handbook.links import Links, links_of
from triage.handbook.statements import cited, names, rule_lines, section, weight_words
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import FAMILIES
from triage.plan.ladder import grades
from triage.show.entry import EntryText, entry_of

MOST_NAMED = 6
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
    """Yield what the rules say about an entry, then the entry itself."""
    if kind == "rule":
        yield from rule_lines(held, names(knowledge, "method", links.methods[held.id]))
        return
    # The signs and the ladder of a deposit are told below, with their sources.
    apart = ("signs", "ladder") if kind == "deposit" else ()
    yield from entry_lines(entry_of(knowledge, kind, held.id, links.names), apart)
    if kind == "deposit":
        yield from section("Signs", _signs(knowledge, links, held.id))
        yield from section(
            "Removed by, least harsh first", _ladder(knowledge, links.offers.get(held.id, ()))
        )
        yield from section("Never", _bans(knowledge, links.deposit_bans.get(held.id, ())))
    elif kind == "zone":
        yield from section("Never", _bans(knowledge, links.bans.get(held.id, ())))
    elif kind == "agent":
        users = links.users.get(held.id, ())
        yield from section("Used by", (f"{knowledge.methods[m].name} `{m}`" for m in users))


def entry_lines(entry: EntryText, apart: tuple[str, ...] = ()) -> Iterator[str]:
    """Yield the fields of an entry as a nested list, its source at the end; not those apart."""
    where = {name: str(getattr(entry.held, name, "")) for name in ("source", "at", "note")}
    behind = where if where["source"] else {}
    field = ""
    for depth, key, said in entry.lines:
        field = field if depth else key
        if field in apart:
            continue
        if depth or key not in ("id", "name", *behind):
            told = said if key == "-" else f"**{key}** {said}"
            yield f"{'  ' * depth}- {' '.join(told.split())}"
    if behind:
        yield f"\n{cited(**behind)}"


def _signs(knowledge: Knowledge, links: Links, deposit: str) -> Iterator[str]:
    for each in links.evidence.get(deposit, ()):
        rule = knowledge.rule(each.rule)
        source = cited(rule.source, rule.at)
        yield f"{weight_words(each.weight)}: {rule.because} {source} `{rule.id}`"


def _ladder(knowledge: Knowledge, methods: tuple[str, ...]) -> Iterator[str]:
    """Yield methods with their grades of harshness."""
    for name in methods:
        method = knowledge.methods[name]
        mechanical, chemical, person, lasting = grades(method)
        stays = f", not to be undone {lasting}" if lasting else ""
        yield (
            f"{method.name} `{name}`: rubbing {mechanical}, attack {chemical}, hazard to you "
            f"{person}{stays} (of 5)"
        )


def _bans(knowledge: Knowledge, bans: tuple[tuple[str, tuple[str, ...]], ...]) -> Iterator[str]:
    for rule_id, methods in bans:
        rule = knowledge.rule(rule_id)
        shown = names(knowledge, "method", methods[:MOST_NAMED])
        if len(methods) > MOST_NAMED:
            shown += f" and {len(methods) - MOST_NAMED} more (see the rule)"
        yield f"{rule.because} {cited(rule.source, rule.at)} `{rule_id}` - {shown}"


def _tidied(lines: Iterator[str]) -> Iterator[str]:
    """Yield lines without trailing blanks and without two empty lines in a row."""
    before = "x"
    for block in lines:
        for line in block.split("\n"):
            shown = line.rstrip()
            if shown or before:
                yield shown
            before = shown
