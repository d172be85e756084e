"""The cases: held ones first, with stage, next step and what is running."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial
from typing import TYPE_CHECKING

from textual import on
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static

from triage.places import copy_demo
from triage.service.listing import doing_words, first_lines
from triage.tui.hanging import BOLD, ActionList, Hanging, Row, hanging
from triage.tui.keysets import bind
from triage.tui.screens.base import CaseChanged, FilteredScreen, Wanted
from triage.tui.screens.form import Field, FormScreen
from triage.tui.screens.windows import ChoiceScreen

if TYPE_CHECKING:
    from triage.case.models import Case
    from triage.service.listing import CaseLine

EMPTY = (
    "No case here yet.\n\n"
    "+   begin a new case: kind of animal, name, then the first question\n"
    "D   make a demo case, marked as invented, to try the whole way\n"
)


def case_prompt(line: CaseLine) -> Hanging:
    """Return the lines of one case."""
    if line.fault:
        return hanging("X", (f"CANNOT BE READ  {line.path.name}", BOLD), line.fault, width=9)
    sign = "X HELD" if line.held else ("@ TIMER" if line.running else "")
    more = [f"@ {line.running}"] if line.running else []
    return hanging(sign, (line.title or line.id, BOLD), doing_words(line), *more, width=9)


class CasesScreen(FilteredScreen):
    """All cases; typing after ``/`` narrows them, Enter opens one."""

    PLACE = "Cases"
    HINT = "a part of a name, stage or step; Enter opens the first, Down the list"
    BINDINGS = [
        bind("new", "new"),
        bind("today", "go('today')"),
        bind("bench", "go('bench')"),
        bind("handbook", "go('handbook')"),
        bind("demo", "demo", show=False),
        bind("reload", "reload", show=False),
        bind("leave", "leave", show=False),
        bind("end", "app.quit"),
    ]

    lines: tuple[CaseLine, ...] = ()
    # What was asked for before the rules are read, and stands above the list then.
    _opens: Callable[[], object] | None = None
    is_listed = False

    @property
    def is_waiting(self) -> bool:
        """Whether the list, or what was asked for, does not stand yet."""
        return self._opens is not None or (not self.is_listed and self.is_at_work)

    def when_open(self, then: Callable[[], object]) -> None:
        """Go on when the rules are read: at once, but for the first moment of the program."""
        if self.services.is_open:
            then()
        else:
            self._opens = then

    def _opened(self, _: object = None) -> None:
        """Go on with what was asked for; what stands above, STOP before all, comes first."""
        if self._opens is not None and self.services.is_open and self.is_topmost:
            self._opens()
            self._opens = None

    def _parts(self) -> Iterable[Widget]:
        yield from super()._parts()
        yield Static(Content(EMPTY), id="empty")

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer a new case only where + is no sign of a line that is written."""
        if action == "new":
            return not isinstance(self.focused, Input)
        return super().check_action(action, parameters)

    def on_screen_resume(self) -> None:
        """Read the cases on coming here, not while another screen waits for the workshop."""
        self._opened()
        if self.is_current:
            self.action_reload()

    def action_reload(self) -> None:
        """Read the cases again; until the rules are read, their names alone."""
        if self.services.is_open:
            self.serve(self.workshop.list_cases, self._show)
        else:
            cases = self.services.cases
            self.serve(lambda: first_lines(cases), self._show_first)

    def _show_first(self, lines: tuple[CaseLine, ...]) -> None:
        self._show(lines)

        def planned() -> tuple[CaseLine, ...]:
            return self.workshop.list_cases()  # opened in the thread, not here

        self.call_after_refresh(self.serve, lambda: self.workshop, self._opened)
        self.call_after_refresh(self.serve, planned, self._show)

    def show_fault(self, text: str) -> None:
        """Show a fault; without rules that can be trusted the program ends with it."""
        if self.services.fault is not None:
            self.app.exit(self.services.fault)
        super().show_fault(text)

    def _show(self, lines: tuple[CaseLine, ...]) -> None:
        self.is_listed = True
        # Held ones come first, then those that run; those with nothing to do come last.
        turn = lambda each: (
            not each.held,
            not each.running,
            each.is_planned and not each.next_step,
        )
        self.lines = tuple(sorted(lines, key=turn))
        self.query_one("#empty").display = not lines
        self.query_one("#rows").display = bool(lines)
        self._fill()
        for line in self.lines:
            if line.running and not line.fault:
                self.serve(
                    partial(self.workshop.load, line.id),
                    lambda case: self.post_message(CaseChanged(case)),
                )

    def _fill(self) -> None:
        wanted = self.words
        shown = [line for line in self.lines if _matches(line, wanted)]
        rows = (Row(line.path.name, case_prompt(line), about=line) for line in shown)
        self.query_one(ActionList).show(rows)
        self.show_place(f"Cases: {len(shown)} of {len(self.lines)}")

    def on_input_changed(self) -> None:
        """Narrow the list while typing."""
        self._fill()

    @on(Input.Submitted)
    @on(OptionList.OptionSelected)
    def _open(self) -> None:
        """Open the case under the cursor, the first one that is left while a line is written."""
        line: CaseLine | None = self.row.about if self.row else None
        if line is None:
            return
        if line.fault:
            self.show_fault(line.fault)
            return
        chosen = Wanted("plan", line.id)
        self.when_open(lambda: self.post_message(chosen))

    def action_new(self) -> None:
        """Begin a new case."""
        self.when_open(self._ask_group)

    def _ask_group(self) -> None:
        taxa = self.knowledge.taxa.values()
        groups = [("unknown", "not known (the plan is then as careful as it can be)")]
        groups += [
            (each.id, f"{each.name} ({each.examples})" if each.examples else each.name)
            for each in taxa
        ]
        self.ask(ChoiceScreen("New case: what is it?", groups), self._ask_title)

    def _ask_title(self, group: str) -> None:
        title = Field("title", "Name", f"specimen {self.services.clock():%Y-%m-%d %H%M%S}")
        form = FormScreen("New case: Enter begins it, letters write another name", (title,))
        self.ask(form, lambda filled: self._begin(filled["title"], group))

    def _begin(self, title: str, group: str) -> None:
        def begun(case: Case) -> None:
            for place in ("plan", "observe", "intake"):  # the drawing and the plan stand behind
                self.post_message(Wanted(place, case.id))

        self.serve(lambda: self.workshop.new(title, group), begun)

    def action_demo(self) -> None:
        """Put copies of the demo cases beside the user's own."""

        def act() -> tuple[CaseLine, ...]:
            copy_demo(self.services.cases)
            return self.workshop.list_cases()

        self.serve(act, self._show)

    def action_go(self, place: str) -> None:
        """Go to the bench, the day or the handbook when the rules are read."""
        self.when_open(lambda: self.post_message(Wanted(place)))

    def action_leave(self) -> None:
        """Leave the filter line; the key that goes back everywhere never ends the program."""
        self.is_line_left()


def _matches(line: CaseLine, wanted: list[str]) -> bool:
    said = f"{line.title} {line.id} {line.stage} {line.next_step}".casefold()
    said += " held" if line.held else ""
    return all(word in said for word in wanted)
