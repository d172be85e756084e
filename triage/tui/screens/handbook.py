"""The handbook: every entry of the knowledge with its sources; typed words search it."""

from __future__ import annotations

from collections.abc import Iterable
from typing import ClassVar

from textual.binding import Binding, BindingType
from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Input, OptionList, Static
from textual.widgets.option_list import Option

from triage.tui.entrytext import Shelf, entry_text, shelves
from triage.tui.screens.base import ServiceScreen
from triage.tui.screens.choice import ChoiceScreen
from triage.tui.services import Services
from triage.tui.widgets.actionlist import ActionList

MOST_SHOWN = 300


class HandbookScreen(ServiceScreen):
    """Entries on the left, the one under the cursor on the right."""

    PLACE = "Handbook"
    BINDINGS: ClassVar[list[BindingType]] = [
        Binding("slash", "search", "Search", key_display="/"),
        Binding("k", "kind", "Kind of entry"),
        Binding("pagedown", "page(1)", "Further", show=False, priority=True),
        Binding("pageup", "page(-1)", "Back up", show=False, priority=True),
        Binding("down", "into_list", "Into the list", show=False),
        Binding("q", "leave", "Back", id="leave"),
    ]

    def __init__(self, services: Services) -> None:
        super().__init__(services)
        self._shelves: tuple[Shelf, ...] = ()
        self._kind = ""

    def parts(self) -> Iterable[Widget]:
        """Return search line, entries and text."""
        yield Input(placeholder="search all entries", id="search")
        yield Horizontal(
            ActionList(id="entries"),
            VerticalScroll(Static("", id="entry"), id="entry-scroll", can_focus=False),
            id="handbook",
        )

    def on_mount(self) -> None:
        """Read the knowledge in the background."""
        self.query_one("#search").display = False
        self.query_one("#entries").focus()
        knowledge = self.services.workshop.knowledge
        self.serve(lambda: shelves(knowledge), self._show)

    def _show(self, read: tuple[Shelf, ...]) -> None:
        self._shelves = read
        self._fill()

    def _fill(self) -> None:
        words = self.query_one("#search", Input).value.casefold().split()
        shown = [
            (f"{shelf.kind}/{entry.id}", f"{entry.name}  ({shelf.kind})")
            for shelf in self._shelves
            if not self._kind or shelf.kind == self._kind
            for entry in shelf.entries
            if all(word in entry.searched for word in words)
        ]
        listed = self.query_one("#entries", OptionList)
        listed.set_options(Option(Content(text), id=key) for key, text in shown[:MOST_SHOWN])
        if shown:
            listed.highlighted = 0
        else:
            self.query_one("#entry", Static).update(Content("Nothing found; try fewer words."))
        kind = self._kind or "all kinds"
        more = f", the first {MOST_SHOWN}" if len(shown) > MOST_SHOWN else ""
        self.show_place(f"Handbook, {kind}: {len(shown)} entries{more}")

    def on_input_changed(self, event: Input.Changed) -> None:
        """Search while typing."""
        del event
        self._fill()

    def on_input_submitted(self, event: Input.Submitted) -> None:
        """Go on in the list."""
        del event
        self.query_one("#entries").focus()

    def on_option_list_option_highlighted(self, event: OptionList.OptionHighlighted) -> None:
        """Show the entry under the cursor."""
        kind, _, entry_id = (event.option.id or "").partition("/")
        for shelf in self._shelves:
            for entry in shelf.entries:
                if shelf.kind == kind and entry.id == entry_id:
                    self.query_one("#entry", Static).update(entry_text(entry))
                    self.query_one("#entry-scroll").scroll_home(animate=False)
                    return

    def action_page(self, way: int) -> None:
        """Scroll the text of the entry."""
        scroll = self.query_one("#entry-scroll", VerticalScroll)
        scroll.scroll_relative(y=way * max(1, scroll.size.height - 2), animate=False)

    def action_search(self) -> None:
        """Open the search line."""
        line = self.query_one("#search", Input)
        line.display = True
        line.focus()

    def action_into_list(self) -> None:
        """Leave the search line for the list."""
        self.query_one("#entries").focus()

    def action_kind(self) -> None:
        """Show one kind of entry only."""
        choices = [("", "all kinds"), *((shelf.kind, shelf.kind) for shelf in self._shelves)]
        self.app.push_screen(ChoiceScreen("Which kind of entry?", choices), self._of_kind)

    def _of_kind(self, kind: str | None) -> None:
        if kind is not None:
            self._kind = kind
            self._fill()

    def action_leave(self) -> None:
        """Leave the search first, then the handbook."""
        line = self.query_one("#search", Input)
        if line.display:
            line.value = ""
            line.display = False
            self.query_one("#entries").focus()
            return
        self.dismiss()
