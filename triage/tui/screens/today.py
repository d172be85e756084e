"""The bench day: what to do in which order, the chambers, the record, what worked and is left.

The commands print ids, which can be copied; here everything is called by its name.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from functools import cache

from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, Static

from triage.case.models import Case
from triage.case.naming import one_line
from triage.errors import TriageError
from triage.history.table import EXAMPLE, Filter, HistoryRow, filter_from_line
from triage.knowledge.book import Knowledge
from triage.plan.names import zone_words
from triage.service import acts
from triage.show import record
from triage.show.blocks import Line
from triage.show.compared import method_photo_blocks
from triage.tui.hanging import BOLD, ActionList, Row, hanging, title_row
from triage.tui.keysets import bind, keyset_of, pick
from triage.tui.ringing import place_of
from triage.tui.screens.base import FilteredScreen, Wanted
from triage.tui.screens.form import Field, Filled, FormScreen

VIEWS = ("The day", "Chambers", "The record", "Worked, and stock")
DAY, CHAMBERS, RECORD, WORKED = range(len(VIEWS))
WORKING = "working..."
ONLY_IN = {"looked": CHAMBERS, "filter": RECORD, "photos": RECORD}


# What a view says in its line, and in its rows.
View = tuple[str, Iterable[Line]]


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

    view = DAY
    _filter = _said = ""
    _is_old = True

    def _parts(self) -> Iterable[Widget]:
        yield Static("", id="today-views")
        line, rows = super()._parts()
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

    def action_view(self, view: int) -> None:
        """Go to a view."""
        if view != self.view:
            self.view = view
            self.line.display = False
            self._fill(("", ()))
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

        def act() -> View:
            says, told = self._read(view, line)
            return says, tuple(told)

        self.serve(act, lambda read: self._fill(read) if view == self.view else None)

    def show_fault(self, text: str) -> None:
        """Show a fault; what is on the screen stays, and is said to be what it is."""
        self._say(self._said)
        super().show_fault(text)

    def _read(self, view: int, line: str) -> View:
        names = self._names()
        if view == DAY:
            day = acts.bench_day(self.workshop)
            return record.day_head(day), record.day_blocks(day, names.of)
        if view == CHAMBERS:
            chambers = acts.running_chambers(self.workshop)
            told = record.chamber_blocks(chambers, names.of)
            return f"Running chambers: {len(chambers)}", told
        if view == RECORD:
            asked = filter_from_line(line)
            attempts = acts.attempts_on_record(self.workshop, replace(asked, words=()))
            if asked.words:
                titles = {each.id: each.title for each in self.workshop.list_cases()}
                attempts = matching(attempts, asked.words, titles, names)
            more = f", the newest {MOST_ROWS} are shown" if len(attempts) > MOST_ROWS else ""
            chosen = f" that pass: {line}" if line else " on record"
            told = record.attempt_blocks(attempts[:MOST_ROWS], names.named)
            return f"Attempts{chosen}: {len(attempts)}{more}", told
        attempts = acts.attempts_on_record(self.workshop, Filter())
        used = (
            *record.usage_blocks(*acts.used_up(self.workshop), names.called),
            *record.evidence_blocks(self.workshop.folder_record.evidence(), names.called),
            *method_photo_blocks(attempts, names.called),
        )
        return "What was used and is left; below it how often methods worked here", used

    def _names(self) -> Names:
        """Return what things are called; each case is read once, None if it cannot be read."""

        @cache
        def case_of(case_id: str) -> Case | None:
            try:
                return self.workshop.load(case_id)
            except (TriageError, OSError):
                return None

        return Names(self.knowledge, case_of)

    def _say(self, text: str) -> None:
        for line in self.query("#today-says").results(Static):
            line.update(Content(text))

    def _fill(self, view: View) -> None:
        self._said, told = view
        self._say(self._said)
        self.query_one(ActionList).show(rows_of(told))

    def on_option_list_option_selected(self) -> None:
        """Open the plan of the case under the cursor."""
        if about := self.row.about:
            self._is_old = True
            self.post_message(Wanted("plan", about.case))

    def action_looked(self) -> None:
        """Record a look into the chamber under the cursor."""
        row: Row | None = self.row
        if row is None or row.about is None:
            self.show_fault("no chamber runs; start the timer of a chamber in its plan")
            return
        case = row.about.case
        name = self._names().case(case)
        ask = f"{name}: what was seen or topped up? Enter records the look, also without a word."

        def looked(filled: Filled) -> None:
            self.serve(
                lambda: acts.note_look(self.workshop, case, filled["note"]),
                lambda _: self.action_read(),
            )

        self.ask(FormScreen(ask, (Field("note", "Seen, topped up"),)), looked)

    def action_photos(self) -> None:
        """Show the photos of the case under the cursor."""
        attempt: HistoryRow | None = self.row.about if self.row else None
        if attempt is not None and (attempt.photo_before or attempt.photo_after):
            self.post_message(Wanted("photos", attempt.case))
        else:
            self.show_fault("this attempt has no photo; write photos in the filter to find some")

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Take the filter; Enter in the list goes on from there."""
        self._filter = event.value.strip()
        self.action_read()

    def action_leave(self) -> None:
        """Leave the filter line first, then the screen."""
        is_open = self.line.display
        super().action_leave()
        if is_open:
            self._filter = ""
            self.action_read()


#: rows a list is given; the commands print all
MOST_ROWS = 300


@dataclass(frozen=True)
class Names:
    """What cases, steps and entries of the knowledge are called.

    ``case_of`` returns the case with an id, None if it cannot be read.
    """

    knowledge: Knowledge
    case_of: Callable[[str], Case | None]

    def case(self, case_id: str) -> str:
        """Return the title of a case, its id if it has none."""
        case = self.case_of(case_id)
        return one_line(case.title) or case.id if case else case_id

    def place(self, case_id: str, step: str) -> str:
        """Return the zone that a step works on."""
        case = self.case_of(case_id)
        return place_of(case, step, self.knowledge.zones) if case else zone_words(None, None)

    def of(self, case_id: str, step: str) -> str:
        """Return a case, or a step of it, in words."""
        return f"{self.case(case_id)}{f': {self.place(case_id, step)}' if step else ''}"

    def called(self, kind: str, key: str) -> str:
        """Return the name of a method, a zone, an agent, a group, a deposit or a state."""
        held = self.knowledge.table(kind).get(key)
        if held is None and kind == "deposit":
            held = self.knowledge.conditions.get(key)
        return str(getattr(held, "name", key))

    def named(self, row: HistoryRow) -> HistoryRow:
        """Return an attempt with names in place of ids."""
        return replace(
            row,
            case=self.case(row.case),
            method=self.called("method", row.method),
            deposit=self.called("deposit", row.deposit),
            zone=self.called("zone", row.zone),
            outcome=self.knowledge.outcome_words(row.method, row.outcome),
        )


def rows_of(told: Iterable[Line]) -> Iterator[Row]:
    """Yield lines as rows: heads as titles, what has a sign in its columns behind that."""
    lines = list(told)
    width = 2 + max((len(line.sign) for line in lines), default=0)
    for line in lines[:MOST_ROWS]:
        if line.is_bold:
            yield title_row(line.text)
        elif line.sign:
            prompt = hanging(line.sign, (line.text, BOLD), *line.more, width=width)
            yield Row("", prompt, about=line.about)
        else:
            yield Row("", hanging("  -", line.text), about=line.about)


def matching(
    attempts: Iterable[HistoryRow], words: tuple[str, ...], titles: Mapping[str, str], names: Names
) -> tuple[HistoryRow, ...]:
    """Return the attempts in which every word stands, as it is shown or as it is kept.

    ``titles`` are the titles of the cases by id.
    """
    wanted = [word.casefold() for word in words]

    def said(row: HistoryRow) -> str:
        called = names.named(row)
        parts = (
            *(row.case, titles.get(row.case, ""), row.note, row.observed, row.step),
            *(row.method, row.deposit, row.zone, row.outcome),
            *(called.method, called.deposit, called.zone, called.outcome),
        )
        return " ".join(parts).casefold()

    return tuple(row for row in attempts if all(word in said(row) for word in wanted))
