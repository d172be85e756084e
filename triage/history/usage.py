"""What was used: stock left in each bottle, and how much evaporated by agent and month."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime
from functools import cache
from typing import Any

import numpy as np

from triage.case.models import OUTCOMES
from triage.case.profile import Bench, Stock
from triage.history.columns import Columns
from triage.history.table import local_days
from triage.knowledge.book import Knowledge
from triage.knowledge.methods import Method
from triage.plan.substances import mg_per_ml, substance_of

#: key of a bottle in the bench file that says on which day its level was read
COUNTED = "counted"


@dataclass(frozen=True, slots=True)
class MonthLine:
    """What evaporated of one agent in one month."""

    month: str
    agent: str
    attempts: int
    used_ml: float
    evaporated_g: float


@dataclass(frozen=True, slots=True)
class StockLine:
    """One bottle: what it held, what was taken out since, what is left [mL]; None is not known."""

    agent: str
    label: str
    held_ml: float | None
    used_ml: float | None
    left_ml: float | None
    because: str


def _done(columns: Columns) -> Any:
    return (columns.outcome != OUTCOMES.index("not-done")) & (columns.agent != "")


def evaporated(knowledge: Knowledge, columns: Columns) -> tuple[MonthLine, ...]:
    """Return what evaporated of each agent in each month, newest month first.

    Notes
    -----
    Everything put down in the open counts as evaporated, as in the day's ledger: amount x density
    x strength x open share. Agents without vapour, and those the knowledge does not have, give
    no mass; their amounts are still counted.
    """
    some = columns.taken(_done(columns))

    @cache
    def mg(method: str, agent: str) -> float:
        if agent not in knowledge.agents:
            return 0.0
        if substance_of(knowledge, knowledge.agents[agent]).airborne == "none":
            return 0.0
        return mg_per_ml(knowledge, knowledge.methods.get(method), agent)

    months = local_days(some).astype("datetime64[M]").astype(str).tolist()
    amounts = np.nan_to_num(some.amount_ml).tolist()
    attempts: dict[tuple[str, str], list[tuple[float, float]]] = {}
    rows = zip(months, some.agent.tolist(), some.method.tolist(), amounts, strict=True)
    for month, agent, method, ml in rows:
        attempts.setdefault((month, agent), []).append((ml, ml * mg(method, agent) / 1000.0))
    lines = [
        MonthLine(*key, len(held), sum(ml for ml, _ in held), sum(g for _, g in held))
        for key, held in attempts.items()
    ]
    return tuple(sorted(sorted(lines, key=lambda e: e.agent), key=lambda e: e.month, reverse=True))


def stock_left(knowledge: Knowledge, bench: Bench, columns: Columns) -> tuple[StockLine, ...]:
    """Return what is left in each bottle of the bench.

    Notes
    -----
    A working liquid weaker than the bottle takes strength over strength of it, by volume; what
    was made up and thrown away is not on record, so the figure is the least that was used. The
    level of a bottle counts from the day in its key ``counted``; without one, from the first
    record on.
    """
    return tuple(_stock_line(knowledge, stock, columns) for stock in bench.stock)


def _stock_line(knowledge: Knowledge, stock: Stock, columns: Columns) -> StockLine:
    since = _counted(stock)
    own = _done(columns) & (columns.agent == stock.agent)
    if since is not None:
        own &= local_days(columns) >= np.datetime64(since)
    some = columns.taken(own)
    shares = [_stock_share(knowledge.methods.get(m), stock) for m in some.method.tolist()]
    from_when = f"since {since.isoformat()}" if since else "since the first record"
    if None in shares:
        because = "the strength of the bottle is not known; write it into the bench file"
        return StockLine(stock.agent, stock.label, stock.ml, None, None, because)
    amounts = np.nan_to_num(some.amount_ml).tolist()
    used = sum((ml * (share or 0.0) for ml, share in zip(amounts, shares, strict=True)), 0.0)
    left = None if stock.ml is None else max(0.0, stock.ml - used)
    because = f"least amount used {from_when}"
    if stock.ml is None:
        because += "; what the bottle held is not in the bench file"
    return StockLine(stock.agent, stock.label, stock.ml, used, left, because)


def _stock_share(method: Method | None, stock: Stock) -> float | None:
    """Return mL of stock in 1 mL of a method's liquid, None where it cannot be known."""
    if method is None or method.strength is None or not method.strength.unit.startswith("%"):
        return 1.0
    if stock.strength is None:
        return None
    return min(1.0, method.strength.value / stock.strength)


def _counted(stock: Stock) -> date | None:
    held = (stock.model_extra or {}).get(COUNTED)
    if isinstance(held, datetime):
        return held.date()
    if isinstance(held, date):
        return held
    try:
        return date.fromisoformat(str(held))
    except ValueError:
        return None
