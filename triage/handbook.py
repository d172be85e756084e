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
from triage.knowledge.rules import FAMILIES, Family, Rule
from triage.plan.ladder import grades, harshness_key
from triage.show.entry import EntryText, entry_of, names_of

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
        lines = book.whole()
    elif entry is None:
        lines = book.shelf(kind)
    else:
        lines = book.page(kind, entry, "#")
    return "\n".join(_tidied(lines)) + "\n"


class _Book:
    """The pages of one knowledge, with the rules turned round by what they speak of."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.consultant = Consultant(knowledge)
        self.offers = offers(self.consultant)
        self.names = names_of(knowledge)
        self.harshness = harshness_key(knowledge)

    def whole(self) -> Iterator[str]:
        yield "# Handbook of the rulebase"
        yield ""
        yield f"Knowledge {self.knowledge.digest}."
        yield ""
        yield INTRODUCTION
        yield ""
        yield from (f"- {TITLES[kind]}: {len(self.table(kind))}" for kind in KINDS)
        for kind in KINDS:
            yield ""
            yield from self.shelf(kind)

    def shelf(self, kind: str) -> Iterator[str]:
        yield f"# {TITLES[kind]}"
        if kind == "rule":
            for family in FAMILIES:
                rules = self.knowledge.rules.get(family, ())
                if rules:
                    yield ""
                    yield f"## Family {family.value}"
                    for rule in rules:
                        yield ""
                        yield from self.page(kind, rule.id, "###")
            return
        for entry in self.table(kind):
            yield ""
            yield from self.page(kind, entry, "##")

    def table(self, kind: str) -> Mapping[str, Any]:
        return self.knowledge.rule_index if kind == "rule" else self.knowledge.table(kind)

    def page(self, kind: str, entry: str, level: str) -> Iterator[str]:
        is_rule = kind == "rule"
        held = self.knowledge.rule(entry) if is_rule else self.knowledge.require(kind, entry)
        name = getattr(held, "name", "")
        yield f"{level} {name} (`{entry}`)" if name else f"{level} `{entry}`"
        yield ""
        yield from self.body(kind, held)

    def body(self, kind: str, held: Any) -> Iterator[str]:
        """Yield what the rules say about an entry, then the entry itself."""
        k = self.knowledge
        if kind == "rule":
            methods = sorted(_methods(self.consultant.rule(held.id)), key=self.harshness)
            yield from rule_lines(held, names(k, "method", methods))
            return
        # The signs and the ladder of a deposit are told below, with their sources.
        apart = ("signs", "ladder") if kind == "deposit" else ()
        yield from entry_lines(entry_of(k, kind, held.id, self.names), apart)
        if kind == "deposit":
            yield from section("Signs", self.signs(held.id))
            yield from section("Removed by, least harsh first", self.ladder(held.id))
            yield from section("Never", self.bans(k.deposits, held.id, "deposit", "settled"))
        elif kind == "zone":
            yield from section("Never", self.bans(k.zones, held.id, "zone"))
        elif kind == "agent":
            users = sorted((m for m in k.methods if held.id in agent_ids(k, m)), key=self.harshness)
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
        """Yield methods with their grades of harshness."""
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
            shown = names(self.knowledge, "method", methods[:MOST_NAMED])
            if len(methods) > MOST_NAMED:
                shown += f" and {len(methods) - MOST_NAMED} more (see the rule)"
            yield f"{rule.because} {cited(rule.source, rule.at)} `{rule.id}` - {shown}"


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


def _tidied(lines: Iterator[str]) -> Iterator[str]:
    """Yield lines without trailing blanks and without two empty lines in a row."""
    before = "x"
    for block in lines:
        for line in block.split("\n"):
            shown = line.rstrip()
            if shown or before:
                yield shown
            before = shown


STRENGTH_WORDS = ((0.8, "very strong"), (0.6, "strong"), (0.4, "moderate"), (0.0, "slight"))


def cited(source: str, at: str = "", note: str = "") -> str:
    """Return the source of a statement in brackets, with its place and remark."""
    inside = "; ".join(part for part in (source, at, note) if part)
    return f"[{inside}]" if inside else ""


def section(title: str, lines: Iterable[str]) -> Iterator[str]:
    """Yield a bold title with a list below; nothing if the list is empty."""
    held = [f"- {' '.join(line.split())}" for line in lines]
    if held:
        yield from ("", f"**{title}**", "", *held)


def weight_words(weight: float) -> str:
    """Return a weight of evidence in words and as its number."""
    if weight <= -1.0:
        return "excludes it (-1)"
    word = next(word for least, word in STRENGTH_WORDS if abs(weight) >= least)
    return f"{word} {'for' if weight > 0 else 'against'} ({weight:+g})"


def value_words(value: Any) -> str:
    """Return what a field is, or must be, as it is read."""
    if isinstance(value, Mapping):
        said = (f"{word.replace('_', ' ')} {value_words(held)}" for word, held in value.items())
        return " and ".join(said)
    if isinstance(value, list | tuple):
        return ", ".join(map(value_words, value))
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def pattern_words(pattern: Mapping[str, Any]) -> str:
    """Return one condition or conclusion of a rule in words."""
    kind, fields = next(iter(pattern.items()))
    if kind == "absent":
        return f"there is no {pattern_words(fields)}"
    return f"{kind} {_field_words(fields or {})}".strip()


def _field_words(fields: Mapping[str, Any]) -> str:
    told = (
        f"{name}: {value_words(value)}"
        for name, value in fields.items()
        if not (isinstance(value, str) and value[:1] in ("$", "?"))
    )
    return "; ".join(told)


def rule_lines(rule: Rule, methods: str) -> Iterator[str]:
    """Yield a whole rule in words; ``methods`` names the methods it comes down to."""
    yield f"{rule.because} {cited(rule.source, rule.at, rule.note)}"
    told: tuple[tuple[str, Iterable[str]], ...] = (
        ("When", map(pattern_words, rule.when)),
        ("Then", map(pattern_words, rule.conclusions())),
        ("Methods it comes down to", (methods,)),
        ("Justification", (rule.why,)),
        ("The answer that could release it", (rule.ask,)),
        ("Tried with", (f"{each.expect}: {_given_words(each.given)}" for each in rule.cases)),
    )
    for title, lines in told:
        yield from section(title, filter(None, lines))


def _given_words(given: Mapping[str, Any]) -> str:
    parts = []
    for kind, fields in given.items():
        if isinstance(fields, Mapping):
            parts.append(f"{kind} {_field_words(fields)}")
        else:
            parts.append(f"{kind}: {value_words(fields)}")
    return "; ".join(parts)


def names(knowledge: Knowledge, kind: str, ids: Iterable[str]) -> str:
    """Return the names of entries, an id that is no entry as it stands."""
    held = knowledge.table(kind)
    return ", ".join(
        str(getattr(held[each], "name", each)) if each in held else each for each in ids
    )
