"""Rules brought to one normal form: patterns as sets of allowed values, conclusions as fields.

Everything that does not depend on the case (zones, taxa, deposits, methods) is resolved here,
once, so that an engine only tests whether a value lies in a set and whether variables agree.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from triage.engine.vocabulary import (
    ADVICE,
    CAUTIONS,
    UNKNOWN,
    Slot,
    StaticValue,
    Vocabulary,
    build_vocabulary,
    static_tables,
)
from triage.errors import TriageError, did_you_mean, raise_faults
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import FAMILIES, RESTRICTIVE, Family, Rule


@dataclass(frozen=True, slots=True)
class Pattern:
    """One condition over facts: field -> allowed values, field -> variable, or its absence."""

    kind: str
    absent: bool
    allowed: tuple[tuple[str, frozenset[str]], ...]
    variables: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class Template:
    """One conclusion: constant fields, fields taken from variables, and methods as a set."""

    kind: str
    constants: tuple[tuple[str, Any], ...]
    variables: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class NormalRule:
    """A rule ready for any engine."""

    id: str
    family: Family
    patterns: tuple[Pattern, ...]
    templates: tuple[Template, ...]


# What each family may conclude: kind -> (required fields, optional fields).
CONCLUSIONS: Mapping[Family, Mapping[str, tuple[frozenset[str], frozenset[str]]]] = {
    Family.RECOGNISE: {
        "evidence": (frozenset({"finding", "deposit", "weight"}), frozenset()),
        "grade": (frozenset({"fragility"}), frozenset({"finding"})),
        "state": (frozenset({"condition"}), frozenset()),
    },
    Family.GATE: {
        "close": (frozenset({"stage"}), frozenset({"ask"})),
        "refuse": (frozenset(), frozenset()),
    },
    Family.FORBID: {"forbid": (frozenset({"method"}), frozenset({"finding"}))},
    Family.OFFER: {
        "offer": (frozenset({"method"}), frozenset({"finding", "deposit", "condition"}))
    },
    Family.ORDER: {
        "before": (frozenset({"earlier", "later"}), frozenset({"across"})),
        "insert": (frozenset({"method", "first"}), frozenset()),
        "apart": (frozenset({"zone"}), frozenset()),
        "pass-over": (frozenset({"finding", "method"}), frozenset()),
    },
    Family.CAUTION: {"caution": (frozenset({"method", "kind"}), frozenset({"finding"}))},
    Family.ADVISE: {"advise": (frozenset({"kind"}), frozenset({"finding"}))},
}
METHOD_FIELDS = frozenset({"method", "earlier", "later"})


ORDERS: Mapping[str, Callable[[Any, Any], bool]] = {
    "at_least": operator.ge,
    "at_most": operator.le,
    "above": operator.gt,
    "below": operator.lt,
}


class _Normaliser:
    """Normalises the rules of one knowledge, one after the other, gathering all faults."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge
        self.vocabulary = build_vocabulary(knowledge)
        self.static = static_tables(knowledge)
        self.faults: list[TriageError] = []

    def fault(self, message: str, mend: str, *deeper: str | int) -> None:
        where = self.knowledge.where("rule", self.id, *self.at, *deeper)
        self.faults.append(TriageError(message, where, mend))

    def rule(self, rule: Rule, family: Family) -> NormalRule | None:
        """Return a rule in normal form, None if it has a fault."""
        before = len(self.faults)
        self.id, self.family = rule.id, family
        # Keys and indexes from the rule to the part that is being read, for the line of a fault.
        self.at: tuple[str | int, ...] = ()
        # For each variable over entries the ids that it may take, and of what kind they are.
        self.narrowed: dict[str, set[str]] = {}
        self.kinds_of: dict[str, str] = {}
        found: list[tuple[int, str, bool, Mapping[str, Any]]] = []
        for index, entry in enumerate(rule.when):
            self.at = ("when", index)
            kind, fields, absent = self._split(entry)
            if kind in self.static:
                self.at = ("when", index, kind)
                self._narrow(kind, fields)
            elif kind:
                found.append((index, kind, absent, fields))
        patterns = []
        for index, kind, absent, fields in found:
            self.at = ("when", index, "absent", kind) if absent else ("when", index, kind)
            patterns.append(self._pattern(kind, absent, fields))
        self.at = ("when",)
        if not patterns:
            self.fault("no pattern over facts", "add specimen, finding or another fact")
        bound = {v for p in patterns if not p.absent for _, v in p.variables}
        templates = []
        for index, conclusion in enumerate(rule.conclusions()):
            self.at = ("then",) if isinstance(rule.then, Mapping) else ("then", index)
            templates.append(self._template(conclusion, bound))
        if len(self.faults) > before:
            return None
        return NormalRule(rule.id, family, tuple(patterns), tuple(t for t in templates if t))

    def _split(self, entry: Mapping[str, Any]) -> tuple[str, Mapping[str, Any], bool]:
        absent = "absent" in entry
        inner = entry["absent"] if absent else entry
        if not isinstance(inner, Mapping) or len(inner) != 1:
            mend = "write for example - finding: {zone: $z}"
            self.fault("a pattern needs exactly one kind", mend)
            return "", {}, absent
        kind, fields = next(iter(inner.items()))
        known = {*self.vocabulary.kinds, *self.static}
        if kind not in known:
            self.fault(f'unknown kind of fact "{kind}"', did_you_mean(kind, known))
            return "", {}, absent
        if not isinstance(fields, Mapping):
            self.fault(f'"{kind}" needs its fields in braces', f"write {kind}: {{...}}")
            return "", {}, absent
        source = self.vocabulary.later.get(kind)
        if source is not None and FAMILIES.index(self.family) <= FAMILIES.index(source):
            self.fault(f'"{kind}" is only known after {source}', "use facts of earlier families")
        if absent and self.family is Family.FORBID:
            self.fault("an interlock must not depend on an absence", "remove absent")
        return kind, fields, absent

    # -- patterns over entries, resolved at once -------------------------------------------------

    def _narrow(self, kind: str, fields: Mapping[str, Any]) -> None:
        """Leave to a variable only the entries that have these fields."""
        table = self.static[kind]
        variable: Any = fields.get("id")
        if not _is_variable(variable):
            self.fault(f"static pattern {kind} needs id: $variable", "add id: $m or the like")
            return
        if self.kinds_of.setdefault(variable, kind) != kind:
            self.fault(f"{variable} is both {self.kinds_of[variable]} and {kind}", "use two names")
        ids = set(table)
        known = set(next(iter(table.values()))) if table else set()
        for raw, constraint in fields.items():
            name = raw.replace("_", "-")
            if name == "id":
                continue
            if name not in known:
                self.fault(f'{kind} has no field "{raw}"', did_you_mean(name, known), raw)
                continue
            self._check_static(kind, name, constraint, raw)
            test = self._static_test(constraint, name, raw)
            ids &= {i for i, row in table.items() if test(row[name])}
        self.narrowed[variable] = self.narrowed.get(variable, ids) & ids

    def _check_static(self, kind: str, name: str, constraint: Any, raw: str) -> None:
        """Report a literal that no entry of this kind has: most likely a typing error."""
        k = self.knowledge
        extra: Mapping[str, Any] = {
            "agent-class": {agent.agent_class: "" for agent in k.agents.values()},
            "surface": k.traits,
            "traits": k.traits,
            "hazard": k.hazards,
            "agent": k.agents,
            "needs": k.equipment,
            "technique": k.techniques,
        }.get(name, {})
        values = set(extra)
        for row in self.static[kind].values():
            value = row[name]
            values |= set(value) if isinstance(value, frozenset) else {str(value)}
        for literal in _literals(constraint):
            if isinstance(literal, str) and not _is_variable(literal) and literal not in values:
                self.fault(
                    f'{kind} {name} is never "{literal}"', did_you_mean(literal, values), raw
                )

    def _static_test(self, constraint: Any, name: str, raw: str) -> Callable[[StaticValue], bool]:
        order = tuple(self.knowledge.fragility) if name == "fragility" else ()

        def holds(value: StaticValue, wanted: Any) -> bool:
            return wanted in value if isinstance(value, frozenset) else value == wanted

        def rank(value: Any) -> float:
            return order.index(value) if value in order else float(value)

        if not isinstance(constraint, Mapping):
            return lambda value: holds(value, constraint)
        word, wanted = _only(constraint)
        if word in ("one_of", "not"):
            return lambda value: any(holds(value, w) for w in _listed(wanted)) == (word == "one_of")
        if word in ORDERS:
            return lambda value: ORDERS[word](rank(value), rank(wanted))
        mend = did_you_mean(word, ("one_of", "not", *ORDERS))
        self.fault(f'unknown constraint "{word}" on {name}', mend, raw)
        return lambda _value: False

    # -- patterns over facts ---------------------------------------------------------------------

    def _pattern(self, kind: str, absent: bool, fields: Mapping[str, Any]) -> Pattern:
        slots = self.vocabulary.kinds[kind]
        allowed: list[tuple[str, frozenset[str]]] = []
        variables: list[tuple[str, str]] = []
        for name, constraint in fields.items():
            if name not in slots:
                self.fault(f'{kind} has no field "{name}"', did_you_mean(name, slots), name)
                continue
            if self.family is Family.RECOGNISE and (kind, name) in self.vocabulary.derived:
                mend = "use what was observed instead"
                self.fault(f"{kind}.{name} is derived later", mend, name)
            if not _is_variable(constraint):
                allowed.append((name, self._allowed(kind, name, constraint, absent)))
                continue
            variables.append((name, constraint[1:]))
            if constraint in self.narrowed:
                held = self.kinds_of[constraint]
                if slots[name].about != held:
                    message = f"{constraint} is a {held}, {kind}.{name} is not"
                    self.fault(message, "check the variable", name)
                widened = self.family in RESTRICTIVE and slots[name].askable
                unknown = {UNKNOWN} if widened else set()
                allowed.append((name, frozenset(self.narrowed[constraint] | unknown)))
        return Pattern(kind, absent, tuple(sorted(allowed)), tuple(sorted(variables)))

    def _allowed(self, kind: str, name: str, constraint: Any, absent: bool) -> frozenset[str]:
        slot = self.vocabulary.kinds[kind][name]
        domain = self.vocabulary.domain(kind, name)
        if domain is None:
            self.fault(f"{kind}.{name} is an id", "bind it to a $variable", name)
            return frozenset()
        for literal in _literals(constraint):
            if literal not in domain:
                mend = did_you_mean(str(literal), domain)
                self.fault(f'{kind}.{name} is never "{literal}"', mend, name)
                return frozenset()
        word, wanted = ("one_of", constraint)
        if isinstance(constraint, Mapping):
            word, wanted = _only(constraint)
        chosen = self._choose(slot, name, word, wanted)
        listed = UNKNOWN in _literals(constraint) and word != "not"
        # An absence in a restrictive family is not widened: that would make the rule weaker.
        widened = self.family in RESTRICTIVE and slot.askable and not absent
        return frozenset(chosen | ({UNKNOWN} if listed or widened else set()))

    def _choose(self, slot: Slot, name: str, word: str, wanted: Any) -> set[str]:
        """Return the values of a field that a constraint allows."""
        values = slot.values or ()
        if word in ("one_of", "not"):
            return {v for v in values if (v in _listed(wanted)) == (word == "one_of")}
        if word in ORDERS and slot.ordered and wanted in values:
            least = values.index(wanted)
            return {v for place, v in enumerate(values) if ORDERS[word](place, least)}
        mend = did_you_mean(word, ["one_of", "not", *ORDERS])
        self.fault(f'unknown constraint "{word}"', mend, name)
        return set()

    # -- conclusions -----------------------------------------------------------------------------

    def _template(self, conclusion: Mapping[str, Any], bound: set[str]) -> Template | None:
        allowed = CONCLUSIONS[self.family]
        kind = next(iter(conclusion), "")
        if len(conclusion) != 1 or kind not in allowed:
            self.fault(f'{self.family} cannot conclude "{kind}"', did_you_mean(kind, allowed))
            return None
        fields = conclusion[kind] or {}
        if not isinstance(fields, Mapping):
            self.fault(f'"{kind}" needs its fields in braces', f"write {kind}: {{...}}", kind)
            return None
        self.at = (*self.at, kind)
        needed, optional = allowed[kind]
        for name in sorted(needed - set(fields)):
            self.fault(f"{kind} lacks {name}", f"add {name}")
        for name in sorted(set(fields) - needed - optional):
            mend = did_you_mean(name, needed | optional)
            self.fault(f'{kind} has no field "{name}"', mend, name)
        constants: list[tuple[str, Any]] = []
        variables: list[tuple[str, str]] = []
        for name, value in sorted(fields.items()):
            if name in METHOD_FIELDS:
                constants.append((name, self._methods(name, value)))
            elif _is_variable(value):
                if value[1:] not in bound:
                    self.fault(f"{value} is not bound by a pattern", "bind it in when", name)
                variables.append((name, value[1:]))
            else:
                self._check_constant(kind, name, value)
                constants.append((name, value))
        return Template(kind, tuple(constants), tuple(variables))

    def _methods(self, field: str, value: Any) -> tuple[str, ...]:
        if _is_variable(value):
            if self.kinds_of.get(value) == "method":
                return tuple(sorted(self.narrowed[value]))
            mend = "add - method: {id: " + value + "}"
            self.fault(f"{value} is not a method", mend, field)
            return ()
        names = [str(name) for name in _listed(value)]
        for index, name in enumerate(names):
            if name not in self.knowledge.methods:
                mend = did_you_mean(name, self.knowledge.methods)
                self.fault(f'unknown method "{name}"', mend, field, index)
        return tuple(sorted(set(names)))

    def _check_constant(self, kind: str, name: str, value: Any) -> None:
        if kind == "evidence" and name == "weight":
            if not isinstance(value, int | float) or isinstance(value, bool) or not -1 <= value < 1:
                self.fault(f"weight is {value}", "give a number from -1 to below 1", name)
            return
        tables: dict[str, Mapping[str, Any] | tuple[str, ...]] = {
            "deposit": self.knowledge.deposits,
            "fragility": self.knowledge.fragility,
            "condition": self.knowledge.conditions,
            "stage": tuple(self.vocabulary.kinds["closed"]["stage"].values or ()),
            "ask": self.knowledge.questions,
            "first": self.knowledge.methods,
            "zone": self.knowledge.zones,
            "kind": ADVICE if kind == "advise" else CAUTIONS,
        }
        if name in tables and value not in tables[name]:
            mend = did_you_mean(str(value), tables[name])
            self.fault(f'unknown {name} "{value}"', mend, name)


def _is_variable(word: Any) -> bool:
    """Return whether a word in a pattern is a variable, written ``$z`` (``"?z"`` in quotes too)."""
    return isinstance(word, str) and len(word) > 1 and word[0] in "$?"


def _only(constraint: Mapping[str, Any]) -> tuple[str, Any]:
    """Return the one word of a constraint and what it wants; an empty word if it is not one."""
    return next(iter(constraint.items())) if len(constraint) == 1 else ("", None)


def _listed(value: Any) -> list[Any]:
    return list(value) if isinstance(value, list | tuple) else [value]


def _literals(constraint: Any) -> list[Any]:
    if isinstance(constraint, Mapping):
        return [literal for wanted in constraint.values() for literal in _listed(wanted)]
    return [constraint]


@dataclass(frozen=True)
class NormalRules:
    """All rules in normal form by family, with the vocabulary they speak."""

    vocabulary: Vocabulary
    by_family: Mapping[Family, tuple[NormalRule, ...]]


def normalise(knowledge: Knowledge) -> NormalRules:
    """Return all rules in normal form; raise every fault found, each with file and line."""
    work = _Normaliser(knowledge)
    by_family: dict[Family, tuple[NormalRule, ...]] = {}
    for family in FAMILIES:
        done = [work.rule(rule, family) for rule in knowledge.rules.get(family, ())]
        by_family[family] = tuple(rule for rule in done if rule is not None)
    raise_faults(work.faults)
    return NormalRules(work.vocabulary, by_family)
