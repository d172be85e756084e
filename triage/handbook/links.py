"""What belongs to what: evidence, offers and bans of the rules, gathered by deposit and zone."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass

from triage.engine.normal import METHOD_FIELDS, NormalRule, normalise
from triage.engine.vocabulary import agent_ids
from triage.knowledge.book import Knowledge
from triage.knowledge.rules import Family
from triage.plan.ladder import harshness_key
from triage.show.entry import names_of


@dataclass(frozen=True, slots=True)
class Evidence:
    """What one rule says about one deposit."""

    rule: str
    weight: float


@dataclass(frozen=True, slots=True)
class Links:
    """The rules turned round.

    Parameters
    ----------
    evidence    deposit -> what speaks for or against it, strongest first
    offers      deposit or condition -> methods, least harsh first
    bans        zone -> (rule, methods) that are never used there
    deposit_bans deposit -> (rule, methods) that are never used on it
    users       agent -> methods that use it, least harsh first
    methods     rule -> methods it comes down to, least harsh first
    names       id -> what the entry is called
    """

    evidence: dict[str, tuple[Evidence, ...]]
    offers: dict[str, tuple[str, ...]]
    bans: dict[str, tuple[tuple[str, tuple[str, ...]], ...]]
    deposit_bans: dict[str, tuple[tuple[str, tuple[str, ...]], ...]]
    users: dict[str, tuple[str, ...]]
    methods: dict[str, tuple[str, ...]]
    names: dict[str, str]


def _allowed(rule: NormalRule, *fields: str) -> frozenset[str]:
    """Return the values that a rule names for a field, in its first pattern that has one."""
    for pattern in rule.patterns:
        for name, values in pattern.allowed:
            if name in fields and not pattern.absent:
                return values
    return frozenset()


def _methods(rule: NormalRule) -> frozenset[str]:
    """Return the methods that a rule's conclusions come down to."""
    held = [dict(template.constants) for template in rule.templates]
    return frozenset(m for each in held for name in METHOD_FIELDS for m in each.get(name, ()))


def _bans_by(
    rules: tuple[NormalRule, ...], fields: tuple[str, ...], known: frozenset[str]
) -> dict[str, tuple[tuple[str, tuple[str, ...]], ...]]:
    found: dict[str, list[tuple[str, tuple[str, ...]]]] = defaultdict(list)
    for rule in rules:
        named = _allowed(rule, *fields) & known
        if not named or named == known:
            continue  # a ban that holds everywhere says nothing about one entry
        for each in named:
            found[each].append((rule.id, tuple(sorted(_methods(rule)))))
    return {key: tuple(sorted(value)) for key, value in found.items()}


def links_of(knowledge: Knowledge) -> Links:
    """Return the rules turned round."""
    rules = normalise(knowledge).by_family
    key = harshness_key(knowledge)
    evidence: dict[str, list[Evidence]] = defaultdict(list)
    for rule in rules[Family.RECOGNISE]:
        for template in rule.templates:
            held = dict(template.constants)
            if template.kind == "evidence" and "deposit" in held:
                evidence[held["deposit"]].append(Evidence(rule.id, held["weight"]))
    offers: dict[str, set[str]] = defaultdict(set)
    for rule in rules[Family.OFFER]:
        for template in rule.templates:
            held = dict(template.constants)
            target = {held[name] for name in ("deposit", "condition") if name in held}
            for each in target or _allowed(rule, "deposit", "condition"):
                offers[each] |= set(held["method"])
    users: dict[str, set[str]] = defaultdict(set)
    for method in knowledge.methods:
        for agent in agent_ids(knowledge, method):
            users[agent].add(method)
    forbid = rules[Family.FORBID]
    return Links(
        evidence={
            deposit: tuple(sorted(held, key=lambda e: (-abs(e.weight), -e.weight, e.rule)))
            for deposit, held in evidence.items()
        },
        offers={target: tuple(sorted(held, key=key)) for target, held in offers.items()},
        bans=_bans_by(forbid, ("zone",), frozenset(knowledge.zones)),
        deposit_bans=_bans_by(forbid, ("deposit", "settled"), frozenset(knowledge.deposits)),
        users={agent: tuple(sorted(held, key=key)) for agent, held in users.items()},
        methods={
            rule.id: tuple(sorted(_methods(rule), key=key))
            for held in rules.values()
            for rule in held
        },
        names=names_of(knowledge),
    )
