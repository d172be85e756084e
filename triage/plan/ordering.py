"""Several ladders become one order of work: order rules across the case, ladders kept whole."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from triage.engine.facts import Conclusion
from triage.knowledge.book import Knowledge

Queue = TypeVar("Queue", bound=Sequence["Item"])
WETNESS = {"dry": 0, "humid": 1, "wet": 2}


@dataclass(frozen=True, slots=True)
class Item:
    """One step before it is completed: its target, method, and place in its ladder.

    ``before`` is the method that an inserted step stands before; None for the act itself.
    """

    step: str
    target: str
    zone: str | None
    method: str
    rung: int
    before: str | None = None

    @property
    def inserted(self) -> bool:
        """Return whether it was put before another step, such as a test spot."""
        return self.before is not None


def _key(knowledge: Knowledge, item: Item, apart: frozenset[str]) -> tuple[object, ...]:
    method = knowledge.methods[item.method]
    wet = WETNESS[knowledge.techniques[method.technique].wet]
    zone = knowledge.zones.get(item.zone or "")
    # Zones that are worked by themselves come after the others: first what could shed on them.
    return (item.zone in apart, wet, zone.rank if zone else 0, item.target, item.rung, item.step)


def arrange(
    knowledge: Knowledge, queues: Sequence[Sequence[Item]], orders: Iterable[Conclusion]
) -> tuple[Item, ...]:
    """Return all items in one order.

    Each queue (one ladder with its inserted steps) keeps its own order. A rule ``before`` with
    ``across`` makes the later methods of one target wait for the earlier ones of all others in
    the same group (apart or not). Where such rules block each other, the lowest key goes first,
    so a ladder is never turned round.
    """
    rules = order_rules(orders)
    waiting = [list(queue) for queue in queues if queue]
    arranged: list[Item] = []
    while any(waiting):
        chosen, queue = _next(knowledge, waiting, rules)
        arranged.append(chosen)
        queue.pop(0)
    return tuple(arranged)


@dataclass(frozen=True, slots=True)
class OrderRules:
    """What orders across targets: zones done apart, and methods that go before others."""

    apart: frozenset[str]
    across: tuple[tuple[frozenset[str], frozenset[str]], ...]


def order_rules(orders: Iterable[Conclusion]) -> OrderRules:
    """Return what the conclusions of the order rules say about different targets."""
    orders = list(orders)
    return OrderRules(
        frozenset(str(c.get("zone")) for c in orders if c.kind == "apart"),
        tuple(
            (frozenset(c.get("earlier")), frozenset(c.get("later")))
            for c in orders
            if c.kind == "before" and c.get("across")
        ),
    )


def _next(knowledge: Knowledge, waiting: Sequence[Queue], rules: OrderRules) -> tuple[Item, Queue]:
    """Return the item to do next, and the queue whose head it is."""
    standing = [queue for queue in waiting if queue]
    free = [queue for queue in standing if not _blocked(queue[0], standing, rules)]
    chosen = min(free or standing, key=lambda queue: _key(knowledge, queue[0], rules.apart))
    return chosen[0], chosen


def _blocked(head: Item, waiting: Sequence[Sequence[Item]], rules: OrderRules) -> bool:
    held = [earlier for earlier, later in rules.across if head.method in later]
    if not held:
        return False
    return any(
        item.method in earlier
        for queue in waiting
        # All items of a queue have one target and one zone.
        if queue[0].target != head.target
        and (queue[0].zone in rules.apart) == (head.zone in rules.apart)
        for item in queue
        for earlier in held
    )
