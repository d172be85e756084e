"""Several ladders become one order of work: order rules across the case, ladders kept whole."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace

from triage.engine.facts import Conclusion, order_of
from triage.knowledge.book import Knowledge

# Steps that must stand before any of some methods, such as a trial spot.
Inserts = tuple[tuple[frozenset[str], str], ...]
WETNESS = {"dry": 0, "humid": 1, "wet": 2}


@dataclass(frozen=True, slots=True)
class Item:
    """One step before it is completed: its target, method, and place in its ladder.

    ``before`` is the method that an inserted step stands before; None for the act itself. ``also``
    are further targets that the same act on the whole insect serves.
    """

    step: str
    target: str
    zone: str | None
    method: str
    rung: int
    before: str | None = None
    also: tuple[str, ...] = ()

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


def is_whole(knowledge: Knowledge, method: str) -> bool:
    """Return whether a method is done to the whole insect at once: a bath, a round of puffs."""
    return knowledge.techniques[knowledge.methods[method].technique].whole


def is_whole_act(knowledge: Knowledge, item: Item) -> bool:
    """Return whether a step for a finding is such an act, and may serve other findings too."""
    return is_whole(knowledge, item.method) and item.zone is not None and not item.inserted


def arrange(
    knowledge: Knowledge, queues: Sequence[Sequence[Item]], rules: OrderRules
) -> Iterator[Item]:
    """Yield all items in one order.

    Each queue (one ladder with its inserted steps) keeps its own order. A rule ``before`` with
    ``across`` makes the later methods of one target wait for the earlier ones of all others, also
    where one of them is done apart. An act on the whole insect waits until every ladder that has it
    has come to it, and is then one item. Where such waits block each other, the lowest key goes
    first, so a ladder is never turned round.
    """
    waiting = [list(queue) for queue in queues if queue]
    while waiting:
        ranked = sorted(waiting, key=lambda queue: _key(knowledge, queue[0], rules.apart))
        standing = (queue for queue in ranked if not _waits(knowledge, queue[0], ranked, rules))
        first = next(standing, ranked[0])[0]
        served = [queue for queue in ranked if _is_same_act(knowledge, queue[0], first, rules)]
        also = tuple(queue[0].target for queue in served if queue[0] != first)
        yield replace(first, also=also)
        for queue in served:
            queue.pop(0)
        waiting = [queue for queue in waiting if queue]


@dataclass(frozen=True, slots=True)
class OrderRules:
    """What order rules say: zones done apart, methods before others, steps put before a method."""

    apart: frozenset[str]
    across: tuple[tuple[frozenset[str], frozenset[str]], ...]
    inserts: Inserts


def order_rules(orders: Iterable[Conclusion]) -> OrderRules:
    """Return what conclusions of the order rules say, in whatever order they come."""
    orders = sorted(orders, key=order_of)
    return OrderRules(
        frozenset(str(c.get("zone")) for c in orders if c.kind == "apart"),
        tuple(
            (frozenset(c.get("earlier")), frozenset(c.get("later")))
            for c in orders
            if c.kind == "before" and c.get("across")
        ),
        tuple((frozenset(c.get("method")), c.get("first")) for c in orders if c.kind == "insert"),
    )


def _is_same_act(knowledge: Knowledge, item: Item, first: Item, rules: OrderRules) -> bool:
    return item == first or (
        item.method == first.method
        and is_whole_act(knowledge, item)
        and is_whole_act(knowledge, first)
        and (item.zone in rules.apart) == (first.zone in rules.apart)
    )


def _waits(
    knowledge: Knowledge, head: Item, waiting: Sequence[Sequence[Item]], rules: OrderRules
) -> bool:
    """Return whether another ladder has something to do before the head of this one."""
    return _blocked(head, waiting, rules) or (
        is_whole_act(knowledge, head)
        and any(
            _is_same_act(knowledge, item, head, rules) for queue in waiting for item in queue[1:]
        )
    )


def _blocked(head: Item, waiting: Sequence[Sequence[Item]], rules: OrderRules) -> bool:
    held = [earlier for earlier, later in rules.across if head.method in later]
    if not held:
        return False
    return any(
        item.method in earlier
        for queue in waiting
        # All items of a queue have one target.
        if queue[0].target != head.target
        for item in queue
        for earlier in held
    )
