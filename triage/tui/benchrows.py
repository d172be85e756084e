"""The rows of the bench screen."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from textual.content import Content

from triage.case.profile import Bench
from triage.knowledge.book import Knowledge
from triage.service.benchasked import ASKED
from triage.tui.hanging import Hanging, beside


@dataclass(frozen=True)
class BenchRow:
    """One row: where it stands in the bench, its value, and how a new one is asked for."""

    id: str
    prompt: Content | Hanging
    path: tuple[str, ...] = ()
    value: str = ""
    ask: str = ""
    choices: tuple[tuple[str, str], ...] = ()
    then_ask: str = ""
    removable: bool = False
    is_title: bool = False


def _title(text: str) -> BenchRow:
    return BenchRow(f"title-{text}", Content.styled(text, "bold"), is_title=True)


def bench_rows(bench: Bench, knowledge: Knowledge) -> tuple[BenchRow, ...]:
    """Return all rows of a bench."""
    return (
        _title("Room"),
        *_room_rows(bench),
        _title("Stock (strength in percent; not known counts as the worst)"),
        *_stock_rows(bench, knowledge),
        *_list_rows("gloves", "Gloves", bench.gloves, _materials(knowledge, {"glove"})),
        *_list_rows(
            "supports", "Supports", bench.supports, _materials(knowledge, {"support", "box"})
        ),
        *_list_rows("lacking", "Equipment lacking", bench.lacking, _named(knowledge.equipment)),
        *_list_rows(
            "circumstances",
            "About the person and the room",
            bench.circumstances,
            _named(knowledge.circumstances),
        ),
        _title("Agents refused"),
        *_refused_rows(bench, knowledge),
    )


def _row(path: tuple[str, ...], label: str, shown: str, **more: Any) -> BenchRow:
    return BenchRow("/".join(path), beside(f"  {label}", shown), path=path, **more)


def _room_rows(bench: Bench) -> Iterator[BenchRow]:
    yield _row(("name",), "Name", bench.name, value=bench.name, ask="Name of this bench")
    for each in ASKED:
        value = each.value(bench)
        shown = dict(each.choices).get(value, value) or each.empty
        yield _row(each.path, each.label, shown, value=value, ask=each.ask, choices=each.choices)


def _stock_rows(bench: Bench, knowledge: Knowledge) -> Iterator[BenchRow]:
    for number, stock in enumerate(bench.stock):
        strength = "strength not known" if stock.strength is None else f"{stock.strength:g} %"
        amount = "" if stock.ml is None else f", {stock.ml:g} mL"
        yield _row(
            ("stock", str(number)),
            _name_of(knowledge.agents, stock.agent),
            f"{strength}{amount}",
            value="" if stock.strength is None else f"{stock.strength:g}",
            ask="Strength in percent (empty: not known)",
            removable=True,
        )
    yield BenchRow(
        "stock/new",
        Content("  + another bottle"),
        path=("stock", "new"),
        ask="What is in the bottle?",
        choices=_named(knowledge.agents),
        then_ask="Strength in percent (empty: not known)",
    )


def _refused_rows(bench: Bench, knowledge: Knowledge) -> Iterator[BenchRow]:
    for number, refused in enumerate(bench.refused):
        yield _row(
            ("refused", str(number)),
            _name_of(knowledge.agents, refused.agent),
            refused.because,
            value=refused.because,
            ask="Why is it refused?",
            removable=True,
        )
    yield BenchRow(
        "refused/new",
        Content("  + refuse an agent"),
        path=("refused", "new"),
        ask="Which agent is refused?",
        choices=_named(knowledge.agents),
        then_ask="Why?",
    )


def _list_rows(
    field: str, label: str, held: tuple[str, ...], choices: tuple[tuple[str, str], ...]
) -> Iterator[BenchRow]:
    yield _title(label)
    names = dict(choices)
    for number, item in enumerate(held):
        yield BenchRow(
            f"{field}/{number}",
            Content(f"  {names.get(item, item)}"),
            path=(field, str(number)),
            ask=label,
            choices=choices,
            removable=True,
        )
    if choices:
        yield BenchRow(
            f"{field}/new", Content("  + another"), path=(field, "new"), ask=label, choices=choices
        )


def _name_of(table: Any, entry_id: str) -> str:
    entry = table.get(entry_id)
    return str(entry.name) if entry is not None else entry_id


def _named(table: Any) -> tuple[tuple[str, str], ...]:
    return tuple((entry.id, entry.name) for entry in table.values())


def _materials(knowledge: Knowledge, roles: set[str]) -> tuple[tuple[str, str], ...]:
    return tuple((m.id, m.name) for m in knowledge.materials.values() if m.role in roles)
