"""A matcher for experta that joins the normal form directly instead of keeping join memories.

experta's network scans unhashed lists and copies a dictionary per pair, and polls every rule's
terminal for each declared fact. A consult declares all its facts in one call and seldom
declares more, so each affected rule is matched anew when facts of a kind it reads change.
Tests hold it equal to experta's own network over random rule sets.
"""

from __future__ import annotations

from typing import Any

from triage.engine.compat import Activation, Matcher
from triage.engine.facts import Fact
from triage.engine.indexed import RuleIndex

# The ids of the matched facts in the order of the patterns: they determine every variable.
Signature = tuple[int, ...]
# Names of the matched facts in the context of an activation; no rule has nearly so many patterns.
PLACES = tuple(f"fact_{place}" for place in range(32))


class Standing(Activation):  # type: ignore[misc]
    """An activation with the facts in the order of the patterns, known by their ids."""

    def __init__(
        self, rule: Any, facts: tuple[Any, ...], context: dict[str, Any], signature: Signature
    ) -> None:
        self.rule = rule
        self.facts = facts
        self.context = context
        self.signature = signature
        self.key = None


class JoinMatcher(Matcher):  # type: ignore[misc]
    """Finds the activations of an engine whose class carries the index of its rules."""

    def __init__(self, engine: Any) -> None:
        super().__init__(engine)
        # Reading a rule from the engine binds it to the engine, which is then passed twice on a
        # call; a copy with the same conditions is unbound. experta's own matcher copies too.
        self.rules = {rule.__name__: rule.new_conditions(*rule) for rule in engine.get_rules()}
        self.index: RuleIndex = engine.index
        self.facts: dict[str, dict[int, tuple[Fact, Any]]] = {}
        self.standing: dict[str, dict[Signature, Any]] = {}

    def reset(self) -> None:
        """Forget all facts and activations."""
        self.facts = {}
        self.standing = {}

    def changes(self, adding: Any = None, deleting: Any = None) -> tuple[list[Any], list[Any]]:
        """Take in added and deleted facts; return the activations that came and went."""
        touched: set[str] = set()
        for fact in deleting or ():
            plain = getattr(fact, "plain", None)
            if plain is not None:
                self.facts.get(plain.kind, {}).pop(fact["__factid__"], None)
                touched.add(plain.kind)
        for fact in adding or ():
            plain = getattr(fact, "plain", None)
            if plain is not None:
                self.facts.setdefault(plain.kind, {})[fact["__factid__"]] = (plain, fact)
                touched.add(plain.kind)
        return self._rematch(touched) if touched else ([], [])

    def _rematch(self, touched: set[str]) -> tuple[list[Any], list[Any]]:
        added: list[Any] = []
        removed: list[Any] = []
        declared = {
            id(plain): (number, fact)
            for rows in self.facts.values()
            for number, (plain, fact) in rows.items()
        }
        plain_facts = [plain for rows in self.facts.values() for plain, _ in rows.values()]
        now: dict[str, dict[Signature, Any]] = {}
        standing = self.standing
        for rule_id, found in self.index.matches(plain_facts, touched):
            before = standing.get(rule_id, {})
            rule = self.rules[rule_id]
            after = now[rule_id] = {}
            for binding, matched in found:
                numbered = [declared[id(plain)] for plain in matched]
                signature = tuple([number for number, _ in numbered])
                activation = before.get(signature)
                if activation is None:
                    facts = tuple([fact for _, fact in numbered])
                    for place, fact in zip(PLACES, facts, strict=False):
                        binding[place] = fact
                    activation = Standing(rule, facts, binding, signature)
                    added.append(activation)
                after[signature] = activation
        for rule_id in self.index.reading(touched):
            after = now.get(rule_id, {})
            before = standing.get(rule_id, {})
            if before:
                removed.extend(old for key, old in before.items() if key not in after)
            standing[rule_id] = after
        return added, removed
