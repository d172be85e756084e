"""Conflict resolution with one total order and exact removal.

experta's own strategy looks only next to the place where a withdrawn activation should stand.
When five or more share a key it misses some, and a rule fires although its negated condition
no longer holds. Its order also depends on the hash seed. Here every activation has its own key.
"""

from __future__ import annotations

from typing import Any

from triage.engine.compat import Strategy

Key = tuple[int, tuple[int, ...], str, tuple[Any, ...]]


class ExactStrategy(Strategy):  # type: ignore[misc]
    """Keeps the agenda sorted by salience, fact ids, rule id and bindings."""

    @staticmethod
    def key(activation: Any) -> Key:
        """Return the total key of an activation: equal only for equal ones; lowest first."""
        # Which fact stands in which place counts too: a rule with the same kind twice is met by
        # (a, b) and by (b, a), which hold the same facts.
        places = getattr(activation, "signature", None)
        rule = activation.rule
        if places is not None:
            ids = places if len(places) == 1 else tuple(sorted(set(places)))
            return (-rule.salience, ids, rule.__name__, places)
        ids = tuple(sorted(fact["__factid__"] for fact in activation.facts))
        bindings = tuple(
            sorted(
                (name, str(value["__factid__"]) if isinstance(value, dict) else repr(value))
                for name, value in activation.context.items()
            )
        )
        return (-rule.salience, ids, rule.__name__, bindings)

    def _update_agenda(self, agenda: Any, added: Any, removed: Any) -> None:
        if not added and not removed:
            return
        standing = {activation.key: activation for activation in agenda.activations}
        for activation in removed:
            standing.pop(self.key(activation), None)
        for activation in added:
            key = activation.key = self.key(activation)
            standing[key] = activation
        # The rightmost activation runs next: sort descending, so that the lowest fact ids and
        # rule ids of the highest salience run first.
        agenda.activations = [standing[key] for key in sorted(standing, reverse=True)]
