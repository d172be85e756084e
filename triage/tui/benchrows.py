"""The rows of the bench screen: what stands there, and how another value is asked for."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from textual.content import Content

from triage.case.profile import Bench
from triage.knowledge.book import Knowledge
from triage.service.benchasked import ASKED
from triage.tui.hanging import beside
from triage.tui.screens.form import Field
from triage.tui.widgets.actionlist import Row, title_row

Choices = tuple[tuple[str, str], ...]
BOTTLE = {
    "strength": "Strength, percent (empty: not known)",
    "ml": "Left in it, mL (empty: not known)",
    "label": "What else its label says",
}


@dataclass(frozen=True)
class BenchRow(Row):
    """One row; Enter asks with one of the choices, with the fields, or with both in this order."""

    path: tuple[str, ...] = ()
    ask: str = ""
    choices: Choices = ()
    fields: tuple[Field, ...] = ()
    removable: bool = False


def bench_rows(bench: Bench, knowledge: Knowledge) -> tuple[Row, ...]:
    """Return all rows of a bench."""
    gloves, supports = _materials(knowledge, {"glove"}), _materials(knowledge, {"support", "box"})
    about = "About the person and the room"
    return (
        title_row("Room"),
        *_asked_rows(bench),
        title_row("Stock (strength in percent; not known counts as the worst)"),
        *_stock_rows(bench, knowledge),
        *_list_rows("gloves", "Gloves", bench.gloves, gloves),
        *_list_rows("supports", "Supports", bench.supports, supports),
        *_list_rows("lacking", "Equipment lacking", bench.lacking, _named(knowledge.equipment)),
        *_list_rows("circumstances", about, bench.circumstances, _named(knowledge.circumstances)),
        title_row("Agents refused"),
        *_refused_rows(bench, knowledge),
    )


def _row(path: tuple[str, ...], label: str, shown: str, **more: Any) -> BenchRow:
    return BenchRow("/".join(path), beside(f"  {label}", shown), path=path, **more)


def _new(field: str, text: str, ask: str, choices: Choices, *fields: Field) -> BenchRow:
    path = (field, "new")
    return BenchRow(
        "/".join(path), Content(f"  + {text}"), path=path, ask=ask, choices=choices, fields=fields
    )


def _asked_rows(bench: Bench) -> Iterator[BenchRow]:
    name = Field("value", "Name of this bench", bench.name)
    yield _row(("name",), "Name", bench.name, fields=(name,))
    for each in ASKED:
        value = each.value(bench)
        shown = dict(each.choices).get(value, value) or each.empty
        fields = () if each.choices else (Field("value", each.ask, value),)
        yield _row(each.path, each.label, shown, ask=each.ask, choices=each.choices, fields=fields)


def _bottle_fields(held: Mapping[str, object]) -> tuple[Field, ...]:
    said = {name: held.get(name) for name in BOTTLE}
    return tuple(
        Field(name, label, f"{value:g}" if isinstance(value, float) else str(value or ""))
        for (name, label), value in zip(BOTTLE.items(), said.values(), strict=True)
    )


def _stock_rows(bench: Bench, knowledge: Knowledge) -> Iterator[BenchRow]:
    for number, stock in enumerate(bench.stock):
        strength = "strength not known" if stock.strength is None else f"{stock.strength:g} %"
        amount = "" if stock.ml is None else f", {stock.ml:g} mL"
        yield _row(
            ("stock", str(number)),
            _name_of(knowledge.agents, stock.agent),
            f"{strength}{amount}{f', {stock.label}' if stock.label else ''}",
            fields=_bottle_fields(stock.model_dump()),
            removable=True,
        )
    agents = _named(knowledge.agents)
    yield _new("stock", "another bottle", "What is in the bottle?", agents, *_bottle_fields({}))


def _refused_rows(bench: Bench, knowledge: Knowledge) -> Iterator[BenchRow]:
    for number, refused in enumerate(bench.refused):
        why = Field("because", "Why is it refused?", refused.because)
        name = _name_of(knowledge.agents, refused.agent)
        path = ("refused", str(number))
        yield _row(path, name, refused.because, fields=(why,), removable=True)
    agents, why = _named(knowledge.agents), Field("because", "Why?")
    yield _new("refused", "refuse an agent", "Which agent is refused?", agents, why)


def _list_rows(field: str, label: str, held: tuple[str, ...], choices: Choices) -> Iterator[Row]:
    yield title_row(label)
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
        yield _new(field, "another", label, choices)


def _name_of(table: Any, entry_id: str) -> str:
    entry = table.get(entry_id)
    return str(entry.name) if entry is not None else entry_id


def _named(table: Any) -> Choices:
    return tuple((entry.id, entry.name) for entry in table.values())


def _materials(knowledge: Knowledge, roles: set[str]) -> Choices:
    return tuple((m.id, m.name) for m in knowledge.materials.values() if m.role in roles)
