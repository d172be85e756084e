"""The bench: room, controls, stock with strengths, gloves, supports, agents refused."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.widget import Widget
from textual.widgets import OptionList
from textual.widgets.option_list import Option

from triage.case.profile import Bench
from triage.service.benchasked import changed_bench
from triage.tui.benchrows import BenchRow, bench_rows
from triage.tui.screens.base import ServiceScreen
from triage.tui.screens.choice import ChoiceScreen
from triage.tui.screens.entry import EntryScreen
from triage.tui.services import Services
from triage.tui.widgets.actionlist import ActionList


class BenchScreen(ServiceScreen):
    """Rows with their values; Enter changes one; each change is saved at once."""

    PLACE = "Bench"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("delete,minus", "remove", "Take away", key_display="-"),
        Binding("q,f9", "leave", "Back", id="leave"),
    ]

    def __init__(self, services: Services) -> None:
        super().__init__(services)
        self.bench: Bench = services.workshop.bench
        self._rows: tuple[BenchRow, ...] = ()

    def parts(self) -> Iterable[Widget]:
        """Return the rows."""
        yield ActionList(id="bench-rows")

    def on_mount(self) -> None:
        """Show the bench."""
        self.query_one("#bench-rows").focus()
        self._show(self.bench)

    def _show(self, bench: Bench) -> None:
        self.bench = bench
        self._rows = bench_rows(bench, self.services.workshop.knowledge)
        listed = self.query_one("#bench-rows", OptionList)
        at = listed.highlighted
        listed.set_options(
            Option(row.prompt, id=row.id, disabled=row.is_title) for row in self._rows
        )
        listed.highlighted = at if at is not None and at < len(self._rows) else 1
        invented = ", invented data" if bench.invented else ""
        self.show_place(f"Bench: {bench.name}{invented}")

    def _row(self) -> BenchRow | None:
        option = self.query_one("#bench-rows", OptionList).highlighted_option
        return next((row for row in self._rows if option and row.id == option.id), None)

    def on_option_list_option_selected(self, event: OptionList.OptionSelected) -> None:
        """Change the row that was chosen."""
        del event
        self.action_change()

    def action_change(self) -> None:
        """Ask for the new value of the row under the cursor."""
        row = self._row()
        if row is None:
            return
        if row.choices:
            self.app.push_screen(
                ChoiceScreen(row.ask, row.choices), lambda value: self._take(row, value)
            )
        else:
            self.app.push_screen(
                EntryScreen(row.ask, row.value), lambda value: self._take(row, value)
            )

    def action_remove(self) -> None:
        """Take the row under the cursor away."""
        row = self._row()
        if row is None or not row.removable:
            self.show_fault("only a bottle, glove, support or refusal can be taken away")
            return
        self._save(lambda: changed_bench(self.bench, row.path, None))

    def _take(self, row: BenchRow, value: str | None) -> None:
        if value is None:
            return
        if row.then_ask:
            self.app.push_screen(
                EntryScreen(row.then_ask, ""),
                lambda more: (
                    None
                    if more is None
                    else self._save(
                        lambda: changed_bench(self.bench, row.path, f"{value} {more}".strip())
                    )
                ),
            )
            return
        self._save(lambda: changed_bench(self.bench, row.path, value))

    def _save(self, change: Callable[[], Bench]) -> None:
        self.serve(lambda: self.services.workshop.save_bench(change()), self._show)
