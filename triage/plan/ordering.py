"""Several ladders become one order of work: order rules across the case, ladders kept whole."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from triage.engine.facts import Conclusion
from triage.knowledge.book import Knowledge

WETNESS = {"dry": 0, "humid": 1, "wet": 2}


@dataclass(frozen=True, slots=True)
class Item:
    """One step before it is completed: its target, method, and place in its ladder."""

    step: str
    target: str
    zone: str | None
    method: str
    rung: int
    inserted: bool = False


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
    orders = list(orders)
    apart = frozenset(str(c.get("zone")) for c in orders if c.kind == "apart")
    across = [
        (frozenset(c.get("earlier")), frozenset(c.get("later")))
        for c in orders
        if c.kind == "before" and c.get("across")
    ]
    waiting = [list(queue) for queue in queues if queue]
    arranged: list[Item] = []
    while any(waiting):
        heads = [queue[0] for queue in waiting if queue]
        free = [head for head in heads if not _blocked(head, waiting, across, apart)]
        chosen = min(free or heads, key=lambda item: _key(knowledge, item, apart))
        arranged.append(chosen)
        for queue in waiting:
            if queue and queue[0] is chosen:
                queue.pop(0)
    return tuple(arranged)


def _blocked(
    head: Item,
    waiting: Sequence[Sequence[Item]],
    across: Iterable[tuple[frozenset[str], frozenset[str]]],
    apart: frozenset[str],
) -> bool:
    for earlier, later in across:
        if head.method not in later:
            continue
        for queue in waiting:
            for item in queue:
                same_group = (item.zone in apart) == (head.zone in apart)
                if item.target != head.target and same_group and item.method in earlier:
                    return True
    return False
