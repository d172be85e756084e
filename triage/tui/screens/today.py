"""The bench day: what to do in which order, the chambers, the record, what worked and is left."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cache

from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, Static

from triage.case.models import Case
from triage.errors import TriageError
from triage.history.filterline import EXAMPLE, filter_from_line
from triage.history.table import Filter
from triage.service.acts import (
    attempts_on_record,
    bench_day,
    evidence_of,
    note_look,
    running_chambers,
    used_up,
)
from triage.show.record import clock
from triage.tui.keysets import bind, keyset_of, pick
from triage.tui.screens.base import FilteredScreen, Wanted
from triage.tui.screens.form import Field, FormScreen
from triage.tui.services import Services
from triage.tui.todayrows import (
    MOST_ROWS,
    DayRow,
    Names,
    chamber_rows,
    day_rows,
    matching,
    record_rows,
    used_rows,
)
from triage.tui.widgets.actionlist import ActionList, Row

VIEWS = ("The day", "Chambers", "The record", "Worked, and stock")
DAY, CHAMBERS, RECORD, WORKED = range(len(VIEWS))
WORKING = "working..."
ONLY_IN = {"looked": CHAMBERS, "filter": RECORD, "photos": RECORD}


@dataclass(frozen=True)
class View:
    """What one view says in its line, and its rows."""

    says: str
    rows: Iterable[Row]


class TodayScreen(FilteredScreen):
    """Four views, one key each; Enter on a row opens the plan of its case."""

    PLACE = "The bench day"
    HINT = EXAMPLE
    CSS = """
    #today-views { height: auto; padding: 0 1; }
    #today-says { height: auto; padding: 0 1; text-style: bold; }
    """
    BINDINGS = [
        *pick("view", 4, start=0),
        bind("looked", "looked"),
        bind("photos", "photos"),
        bind("reload", "read", show=False),
    ]

    def __init__(self, services: Services) -> None:
        super().__init__(services)
        self.view = DAY
        self._filter = ""
        self._said = ""
        self._is_old = True

    def parts(self) -> Iterable[Widget]:
        """Return the names of the views, the filter, what the view says, and its rows."""
        yield Static("", id="today-views")
        line, rows = super().parts()
        yield from (line, Static("", id="today-says"), rows)

    def on_screen_resume(self) -> None:
        """Read anew on coming here, and on coming back from a case."""
        if self._is_old and self.is_current:
            self.action_read()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer the keys of one view only while it is shown."""
        if action in ONLY_IN:
            return ONLY_IN[action] == self.view and not isinstance(self.focused, Input)
        return super().check_action(action, parameters)

    # -- reading, in the background --------------------------------------------------------------

    def action_view(self, view: int) -> None:
        """Go to a view."""
        if view != self.view:
            self.view = view
            self.line.display = False
            self._fill(View("", ()))
            self.action_into_list()
            self.refresh_bindings()
        self.action_read()

    def action_read(self) -> None:
        """Read the view that is shown again."""
        self._is_old = False
        view, line = self.view, self._filter
        self._say(WORKING)
        names = (f"[{n}]" if at == view else f" {n} " for at, n in enumerate(VIEWS))
        keys = keyset_of(self.app)
        head = "  ".join(f"{keys.pick(at)} {name}" for at, name in enumerate(names))
        self.query_one("#today-views", Static).update(Content(head))
        self.serve(
            lambda: replace(read := self._read(view, line), rows=tuple(read.rows)),
            lambda read: self._show(view, read),
        )

    def show_fault(self, text: str) -> None:
        """Show a fault; what is on the screen stays, and is said to be what it is."""
        self._say(self._said)
        super().show_fault(text)

    def _read(self, view: int, line: str) -> View:
        names = Names(self.knowledge, self._case_of())
        if view == DAY:
            day = bench_day(self.workshop)
            ends = f"; ends {clock(day.plan.ends_min)}" if day.plan.entries else ""
            return View(
                f"{self.workshop.clock():%Y-%m-%d, planned at %H:%M}, {day.cases} cases{ends}",
                day_rows(day, names),
            )
        if view == CHAMBERS:
            chambers = running_chambers(self.workshop)
            return View(f"Running chambers: {len(chambers)}", chamber_rows(chambers, names))
        if view == RECORD:
            asked = filter_from_line(line)
            attempts = attempts_on_record(self.workshop, replace(asked, words=()))
            if asked.words:
                titles = {each.id: each.title for each in self.workshop.list_cases()}
                attempts = matching(attempts, asked.words, titles, names)
            more = f", the newest {MOST_ROWS} are shown" if len(attempts) > MOST_ROWS else ""
            chosen = f" that pass: {line}" if line else " on record"
            return View(f"Attempts{chosen}: {len(attempts)}{more}", record_rows(attempts, names))
        return View(
            "What was used and is left; below it how often methods worked here",
            used_rows(
                *used_up(self.workshop),
                evidence_of(self.workshop),
                attempts_on_record(self.workshop, Filter()),
                names,
            ),
        )

    def _case_of(self) -> Callable[[str], Case | None]:
        """Return how a case is read for its title; each once, one that cannot be read is None."""

        @cache
        def case_of(case_id: str) -> Case | None:
            try:
                return self.workshop.load(case_id)
            except (TriageError, OSError):
                return None

        return case_of

    # -- showing -----------------------------------------------------------------------------------

    def _say(self, text: str) -> None:
        for line in self.query("#today-says").results(Static):
            line.update(Content(text))

    def _show(self, view: int, read: View) -> None:
        if view == self.view:
            self._fill(read)

    def _fill(self, view: View) -> None:
        self._said = view.says
        self._say(view.says)
        self.query_one(ActionList).show(view.rows)

    # -- acts --------------------------------------------------------------------------------------

    def on_option_list_option_selected(self) -> None:
        """Open the plan of the case under the cursor."""
        row: DayRow = self.row
        if row.case:
            self._is_old = True
            self.post_message(Wanted("plan", row.case))

    def action_looked(self) -> None:
        """Record a look into the chamber under the cursor."""
        row: DayRow | None = self.row
        if row is None or not row.case:
            self.show_fault("no chamber runs; start the timer of a chamber in its plan")
            return
        case = row.case
        name = Names(self.knowledge, self._case_of()).case(case)
        ask = f"{name}: what was seen or topped up? Enter records the look, also without a word."
        form = FormScreen(ask, (Field("note", "Seen, topped up"),))
        self.ask(form, lambda filled: self._looked(case, filled["note"]))

    def _looked(self, case: str, note: str) -> None:
        self.serve(lambda: note_look(self.workshop, case, note), lambda _: self.action_read())

    def action_photos(self) -> None:
        """Show the photos of the case under the cursor."""
        row: DayRow | None = self.row
        if row is None or not row.has_photos:
            self.show_fault("this attempt has no photo; write photos in the filter to find some")
            return
        self.post_message(Wanted("photos", row.case))

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Take the filter; Enter in the list goes on from there."""
        self._filter = event.value.strip()
        self.action_read()

    def action_leave(self) -> None:
        """Leave the filter line first, then the screen."""
        if not self.is_line_left():
            self.dismiss()
            return
        self._filter = ""
        self.action_read()
