"""Conditions, conclusions, statements and numbers of the knowledge in words."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from typing import Any

from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Rule

STRENGTH_WORDS = ((0.8, "very strong"), (0.6, "strong"), (0.4, "moderate"), (0.0, "slight"))
COMPARED = {
    "at_least": "at least",
    "at_most": "at most",
    "more_than": "more than",
    "less_than": "less than",
}


def cited(source: str, at: str = "", note: str = "") -> str:
    """Return the source of a statement in brackets, with its place and remark."""
    inside = "; ".join(part for part in (source, at, note) if part)
    return f"[{inside}]" if inside else ""


def bullets(lines: Iterable[str]) -> Iterator[str]:
    """Yield lines as a list."""
    for line in lines:
        yield f"- {' '.join(line.split())}"


def section(title: str, lines: Iterable[str]) -> Iterator[str]:
    """Yield a bold title with a list below; nothing if the list is empty."""
    held = list(bullets(lines))
    if held:
        yield from ("", f"**{title}**", "", *held)


def weight_words(weight: float) -> str:
    """Return a weight of evidence in words and as its number."""
    if weight <= -1.0:
        return "excludes it (-1)"
    word = next(word for least, word in STRENGTH_WORDS if abs(weight) >= least)
    return f"{word} {'for' if weight > 0 else 'against'} ({weight:+g})"


def constraint_words(constraint: Any) -> str:
    """Return what a field must be."""
    if isinstance(constraint, Mapping):
        parts = []
        for word, wanted in constraint.items():
            listed = wanted if isinstance(wanted, list | tuple) else [wanted]
            said = ", ".join(value_words(each) for each in listed)
            if word == "one_of":
                parts.append(f"one of {said}")
            elif word == "not":
                parts.append(f"not {said}")
            else:
                parts.append(f"{COMPARED.get(word, word.replace('_', ' '))} {said}")
        return " and ".join(parts)
    return value_words(constraint)


def value_words(value: Any) -> str:
    """Return a plain value as it is read."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def _is_variable(value: Any) -> bool:
    return isinstance(value, str) and value[:1] in ("$", "?")


def condition_words(condition: Mapping[str, Any]) -> str:
    """Return one condition of a rule in words."""
    kind, fields = next(iter(condition.items()))
    if kind == "absent":
        return f"there is no {condition_words(fields)}"
    return f"{kind} {_field_words(fields)}".strip()


def conclusion_words(conclusion: Mapping[str, Any]) -> str:
    """Return one conclusion of a rule in words."""
    kind, fields = next(iter(conclusion.items()))
    return f"{kind} {_field_words(fields or {})}".strip()


def _field_words(fields: Mapping[str, Any]) -> str:
    said = []
    for name, value in fields.items():
        if _is_variable(value):
            continue
        if isinstance(value, list | tuple):
            said.append(f"{name}: {', '.join(map(value_words, value))}")
        else:
            said.append(f"{name}: {constraint_words(value)}")
    return "; ".join(said)


def rule_lines(rule: Rule, methods: str) -> Iterator[str]:
    """Yield a whole rule in words; ``methods`` names the methods it comes down to."""
    yield f"{rule.because} {cited(rule.source, rule.at, rule.note)}"
    yield from section("When", (condition_words(each) for each in rule.when))
    yield from section("Then", (conclusion_words(each) for each in rule.conclusions()))
    yield from section("Methods it comes down to", (methods,) if methods else ())
    if rule.why:
        yield from section("Justification", (rule.why,))
    if rule.ask:
        yield from section("The answer that could release it", (rule.ask,))
    yield from section(
        "Tried with",
        (f"{each.expect}: {_given_words(each.given)}" for each in rule.cases),
    )


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
