"""The whole rulebase as Markdown by deposit, zone, agent, method and rule, with sources."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from operator import attrgetter
from typing import Any

from triage.check.reachable import constant, offers, templates_of
from triage.engine.consult import Consultant
from triage.engine.normal import METHOD_FIELDS, NormalRule
from triage.engine.vocabulary import agent_ids
from triage.errors import TriageError, did_you_mean
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import FAMILIES, Family
from triage.plan.ladder import grades, harshness_key
from triage.show.entry import CITED, EntryText, entry_of, names_of

MOST_NAMED = 6
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
KINDS = tuple(TITLES)
INTRODUCTION = """\
Made from the rules folder; nothing here is written twice. Square brackets name the source of
each statement; the sources stand at the end. Weights of evidence run from -1 (excludes) to just
below 1; 0.2 is slight, 0.4 moderate, 0.6 strong, 0.8 very strong. Harshness runs from 0 (none)
to 5 (worst). The safety data sheet, local rules and licensed practice come before this book."""
STRENGTH_WORDS = ((0.8, "very strong"), (0.6, "strong"), (0.4, "moderate"), (0.0, "slight"))


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
    book = _Book(knowledge)
    if kind is None:
        parts = book.whole()
    elif entry is None:
        parts = book.shelf(kind)
    else:
        parts = book.page(kind, entry, "#")
    return "\n\n".join(parts) + "\n"


class _Book:
    """The pages of one knowledge in paragraphs, with its rules turned round by what they say."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.consultant = Consultant(knowledge)
        self.offers = offers(self.consultant)
        self.names = names_of(knowledge)
        self.harshness = harshness_key(knowledge)

    def whole(self) -> Iterator[str]:
        yield "# Handbook of the rulebase"
        yield f"Knowledge {self.knowledge.digest}."
        yield INTRODUCTION
        yield "\n".join(f"- {TITLES[kind]}: {len(self.knowledge.table(kind))}" for kind in KINDS)
        for kind in KINDS:
            yield from self.shelf(kind)

    def shelf(self, kind: str) -> Iterator[str]:
        yield f"# {TITLES[kind]}"
        if kind != "rule":
            for entry in self.knowledge.table(kind):
                yield from self.page(kind, entry, "##")
            return
        for family in FAMILIES:
            if rules := self.knowledge.rules.get(family, ()):
                yield f"## Family {family.value}"
                for rule in rules:
                    yield from self.page(kind, rule.id, "###")

    def page(self, kind: str, entry: str, level: str) -> Iterator[str]:
        """Yield an entry, and what the rules say about it; of a rule its reason first."""
        k, is_rule = self.knowledge, kind == "rule"
        held = k.require(kind, entry)
        name = getattr(held, "name", "")
        yield f"{level} {name} (`{entry}`)" if name else f"{level} `{entry}`"
        told = entry_of(k, kind, entry, {} if is_rule else self.names)
        if is_rule:
            yield f"{held.because} {cited(held.source, held.at, held.note)}".rstrip()
            yield from fields_of(told, ("because",))
            methods = sorted(_methods(self.consultant.rule(entry)), key=self.harshness)
            yield from section("Methods it comes down to", [self.called(methods)])
            return
        # The signs and the ladder of a deposit are told below, with their sources.
        yield from fields_of(told, ("signs", "ladder") if kind == "deposit" else ())
        yield from filter(None, [cited(*(str(getattr(held, each, "")) for each in CITED))])
        if kind == "deposit":
            yield from section("Signs", self.signs(entry))
            yield from section("Removed by, least harsh first", self.ladder(entry))
            yield from section("Never", self.bans(k.deposits, entry, "deposit", "settled"))
        elif kind == "zone":
            yield from section("Never", self.bans(k.zones, entry, "zone"))
        elif kind == "agent":
            users = sorted((m for m in k.methods if entry in agent_ids(k, m)), key=self.harshness)
            yield from section("Used by", (f"{k.methods[m].name} `{m}`" for m in users))

    def signs(self, deposit: str) -> Iterator[str]:
        """Yield what speaks for or against a deposit, the strongest first."""
        evidence = [
            (dict(template.constants)["weight"], rule.id)
            for rule, template in templates_of(self.consultant, "evidence")
            if constant(template, "deposit") == deposit
        ]
        for weight, name in sorted(evidence, key=lambda e: (-abs(e[0]), -e[0], e[1])):
            rule = self.knowledge.rule(name)
            source = cited(rule.source, rule.at)
            yield f"{weight_words(weight)}: {rule.because} {source} `{rule.id}`"

    def ladder(self, deposit: str) -> Iterator[str]:
        for name in sorted(self.offers.get(("deposit", deposit), ()), key=self.harshness):
            method = self.knowledge.methods[name]
            mechanical, chemical, person, lasting = grades(method)
            stays = f", not to be undone {lasting}" if lasting else ""
            yield (
                f"{method.name} `{name}`: rubbing {mechanical}, attack {chemical}, hazard to you "
                f"{person}{stays} (of 5)"
            )

    def bans(self, table: Mapping[str, Any], entry: str, *fields: str) -> Iterator[str]:
        """Yield what is never used on an entry; a ban that holds everywhere says nothing of it."""
        for each in sorted(self.consultant.normal.by_family[Family.FORBID], key=attrgetter("id")):
            named = _allowed(each, *fields) & table.keys()
            if entry not in named or named == table.keys():
                continue
            rule, methods = self.knowledge.rule(each.id), sorted(_methods(each))
            shown = self.called(methods[:MOST_NAMED])
            if len(methods) > MOST_NAMED:
                shown += f" and {len(methods) - MOST_NAMED} more (see the rule)"
            yield f"{rule.because} {cited(rule.source, rule.at)} `{rule.id}` - {shown}"

    def called(self, methods: Iterable[str]) -> str:
        return ", ".join(self.knowledge.methods[each].name for each in methods)


def _allowed(rule: NormalRule, *fields: str) -> frozenset[str]:
    """Return the values that a rule names for a field, in its first pattern that has one."""
    for pattern in rule.patterns:
        for name, values in pattern.allowed:
            if name in fields and not pattern.absent:
                return values
    return frozenset()


def _methods(rule: NormalRule) -> frozenset[str]:
    held = [dict(template.constants) for template in rule.templates]
    return frozenset(m for each in held for name in METHOD_FIELDS for m in each.get(name, ()))


def fields_of(entry: EntryText, apart: tuple[str, ...] = ()) -> Iterator[str]:
    """Yield the fields of an entry as a nested list; without its name, its source, those apart."""
    apart = ("id", "name", *apart, *(CITED if getattr(entry.held, "source", "") else ()))
    lines, field = [], ""
    for depth, key, said in entry.lines:
        field = field if depth else key
        if field not in apart:
            told = said if key == "-" else f"**{key}** {said}"
            lines.append(f"{'  ' * depth}- {' '.join(told.split())}")
    if lines:
        yield "\n".join(lines)


def cited(source: str, at: str = "", note: str = "") -> str:
    """Return the source of a statement in brackets, with its place and remark."""
    return f"[{'; '.join(filter(None, (source, at, note)))}]" if source else ""


def section(title: str, lines: Iterable[str]) -> Iterator[str]:
    """Yield a bold title and a list below; nothing if no line says anything."""
    held = [f"- {' '.join(line.split())}" for line in lines if line]
    if held:
        yield from (f"**{title}**", "\n".join(held))


def weight_words(weight: float) -> str:
    """Return a weight of evidence in words and as its number."""
    if weight <= -1.0:
        return "excludes it (-1)"
    word = next(word for least, word in STRENGTH_WORDS if abs(weight) >= least)
    return f"{word} {'for' if weight > 0 else 'against'} ({weight:+g})"
