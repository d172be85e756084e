"""Conditions, conclusions, statements and numbers of the knowledge in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Rule

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
