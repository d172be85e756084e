"""The bench: room, pictures, stock with strengths and volumes, gloves, supports, agents refused."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
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
SUPPORTS = ("support", "box")
BOTTLE = {
    "strength": "Strength, percent (empty: not known)",
    "ml": "Left in it, mL (empty: not known)",
    "label": "What else its label says",
}


@dataclass(frozen=True)
class BenchRow(Row):
    """One row; Enter asks with one of the choices, with the fields, or with both in this order."""

    ask: str = ""
    choices: Choices = ()
    fields: tuple[Field, ...] = ()

    @property
    def path(self) -> tuple[str, ...]:
        """The way to its value in the bench."""
        return tuple(self.id.split("/"))


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
        """Write what a form says: a new bottle or refusal whole, else each line of it."""

        def change() -> Bench:
            if agent:
                return changed_bench(self.bench, row.path, {"agent": agent, **filled})
            bench = self.bench
            for name, value in filled.items():
                place = row.path if name == "value" else (*row.path, name)
                bench = changed_bench(bench, place, value)
            return bench

        self._save(change)

    def action_remove(self) -> None:
        """Take the row under the cursor away."""
        row = self.row
        if row is None or not row.path[-1].isdecimal():
            self.show_fault("only a bottle, glove, support or refusal can be taken away")
            return
        self._save(lambda: changed_bench(self.bench, row.path, None))

    def _save(self, change: Callable[[], Bench]) -> None:
        self.serve(lambda: self.workshop.save_bench(change()), self._show)


def bench_rows(bench: Bench, knowledge: Knowledge) -> Iterator[Row]:
    """Yield all rows of a bench."""
    yield title_row("Room")
    yield from _asked_rows(bench)
    yield title_row("Stock (strength in percent; not known counts as the worst)")
    agents = _named(knowledge.agents.values())
    names = dict(agents)
    for number, stock in enumerate(bench.stock):
        strength = "strength not known" if stock.strength is None else f"{stock.strength:g} %"
        amount = "" if stock.ml is None else f", {stock.ml:g} mL"
        said = f"{strength}{amount}{f', {stock.label}' if stock.label else ''}"
        prompt = beside(f"  {names.get(stock.agent, stock.agent)}", said)
        yield BenchRow(f"stock/{number}", prompt, fields=_bottle_fields(stock.model_dump()))
    yield _new("stock", "another bottle", "What is in the bottle?", agents, *_bottle_fields({}))
    materials = knowledge.materials.values()
    about = "About the person and the room"
    for field, label, held, known in (
        ("gloves", "Gloves", bench.gloves, [m for m in materials if m.role == "glove"]),
        ("supports", "Supports", bench.supports, [m for m in materials if m.role in SUPPORTS]),
        ("lacking", "Equipment lacking", bench.lacking, knowledge.equipment.values()),
        ("circumstances", about, bench.circumstances, knowledge.circumstances.values()),
    ):
        yield title_row(label)
        choices = _named(known)
        for number, item in enumerate(held):
            called = Content(f"  {dict(choices).get(item, item)}")
            yield BenchRow(f"{field}/{number}", called, ask=label, choices=choices)
        if choices:
            yield _new(field, "another", label, choices)
    yield title_row("Agents refused")
    for number, refused in enumerate(bench.refused):
        why = Field("because", "Why is it refused?", refused.because)
        prompt = beside(f"  {names.get(refused.agent, refused.agent)}", refused.because)
        yield BenchRow(f"refused/{number}", prompt, fields=(why,))
    why = Field("because", "Why?")
    yield _new("refused", "refuse an agent", "Which agent is refused?", agents, why)


def _new(field: str, text: str, ask: str, choices: Choices, *fields: Field) -> BenchRow:
    return BenchRow(f"{field}/new", Content(f"  + {text}"), ask=ask, choices=choices, fields=fields)


def _asked_rows(bench: Bench) -> Iterator[BenchRow]:
    name = Field("value", "Name of this bench", bench.name)
    yield BenchRow("name", beside("  Name", bench.name), fields=(name,))
    for each in ASKED:
        value = each.value(bench)
        prompt = beside(f"  {each.label}", dict(each.choices).get(value, value) or each.empty)
        fields = () if each.choices else (Field("value", each.ask, value),)
        path = "/".join(each.path)
        yield BenchRow(path, prompt, ask=each.ask, choices=each.choices, fields=fields)


def _bottle_fields(held: Mapping[str, object]) -> tuple[Field, ...]:
    said = {name: held.get(name) for name in BOTTLE}
    return tuple(
        Field(name, BOTTLE[name], f"{value:g}" if isinstance(value, float) else str(value or ""))
        for name, value in said.items()
    )


def _named(known: Iterable[Any]) -> Choices:
    return tuple((entry.id, entry.name) for entry in known)
