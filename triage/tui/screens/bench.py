"""The bench: room, pictures, stock with strengths and volumes, gloves, supports, agents refused."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from textual.content import Content

from triage.case.profile import Bench
from triage.knowledge.book import Knowledge
from triage.service.benchasked import ASKED, changed_bench
from triage.tui.hanging import ActionList, Row, beside, title_row
from triage.tui.keysets import bind
from triage.tui.screens.base import FilteredScreen
from triage.tui.screens.form import Field, Filled, FormScreen
from triage.tui.screens.windows import ChoiceScreen

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


class BenchScreen(FilteredScreen):
    """Rows with their values; Enter changes one; each change is saved at once."""

    PLACE = "Bench"
    HINT = "a part of a name or a label"
    BINDINGS = [
        bind("remove", "remove"),
    ]

    bench: Bench

    def on_mount(self) -> None:
        """Show the bench."""
        self._show(self.workshop.bench)

    def _show(self, bench: Bench) -> None:
        self.bench = bench
        rows = [
            row
            for row in bench_rows(bench, self.knowledge)
            if all(word in row.prompt.plain.casefold() for word in self.words)
        ]
        self.query_one(ActionList).show(rows)
        invented = ", invented data" if bench.invented else ""
        self.show_place(f"Bench: {bench.name}{invented}")

    def on_input_changed(self) -> None:
        """Show what has the words."""
        self._show(self.bench)

    def on_option_list_option_selected(self) -> None:
        """Ask for the new value of the row that was chosen."""
        row: BenchRow = self.row
        if row.choices:
            self.ask(ChoiceScreen(row.ask, row.choices), lambda value: self._chosen(row, value))
        else:
            self._ask_fields(row, "")

    def _chosen(self, row: BenchRow, value: str) -> None:
        if row.fields:
            self._ask_fields(row, value)
        else:
            self._save(lambda: changed_bench(self.bench, row.path, value))

    def _ask_fields(self, row: BenchRow, agent: str) -> None:
        title = agent or row.prompt.plain.split("\n")[0].strip()
        self.ask(FormScreen(title, row.fields), lambda filled: self._write(row, agent, filled))

    def _write(self, row: BenchRow, agent: str, filled: Filled) -> None:
        """Write what a form says; for a new bottle or refusal its agent is written first."""

        def change() -> Bench:
            bench, path = self.bench, row.path
            if agent:
                held = bench.stock if path[0] == "stock" else bench.refused
                bench = changed_bench(bench, path, agent)
                path = (path[0], str(len(held)))
            for name, value in filled.items():
                if value or not agent:
                    bench = changed_bench(bench, path if name == "value" else (*path, name), value)
            return bench

        self._save(change)

    def action_remove(self) -> None:
        """Take the row under the cursor away."""
        row = self.row
        if row is None or not row.removable:
            self.show_fault("only a bottle, glove, support or refusal can be taken away")
            return
        self._save(lambda: changed_bench(self.bench, row.path, None))

    def _save(self, change: Callable[[], Bench]) -> None:
        self.serve(lambda: self.workshop.save_bench(change()), self._show)


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
