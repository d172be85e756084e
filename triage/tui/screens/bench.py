"""The bench: room, pictures, stock with strengths and volumes, gloves, supports, agents refused."""

from __future__ import annotations

from collections.abc import Callable

from triage.case.profile import Bench
from triage.service.benchasked import changed_bench
from triage.tui.benchrows import BenchRow, bench_rows
from triage.tui.keysets import bind
from triage.tui.screens.base import FilteredScreen
from triage.tui.screens.form import Filled, FormScreen
from triage.tui.screens.windows import ChoiceScreen
from triage.tui.services import Services
from triage.tui.widgets.actionlist import ActionList


class BenchScreen(FilteredScreen):
    """Rows with their values; Enter changes one; each change is saved at once."""

    PLACE = "Bench"
    HINT = "a part of a name or a label"
    BINDINGS = [
        bind("remove", "remove"),
    ]

    def __init__(self, services: Services) -> None:
        super().__init__(services)
        self.bench: Bench = services.workshop.bench

    def on_mount(self) -> None:
        """Show the bench."""
        super().on_mount()
        self._show(self.bench)

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
