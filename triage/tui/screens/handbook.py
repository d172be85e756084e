"""The handbook: every entry of the knowledge with its sources; typed words search it."""

from __future__ import annotations

from collections.abc import Iterable

from textual.containers import Horizontal, VerticalScroll
from textual.content import Content
from textual.widget import Widget
from textual.widgets import OptionList, Static

from triage.show.blocks import Line
from triage.show.entry import Shelf, entry_blocks, shelves
from triage.tui.hanging import Held, Row
from triage.tui.keysets import bind
from triage.tui.screens.base import FilteredScreen
from triage.tui.shown import Reasons

# Rows laid out at first, and added whenever the cursor comes this near to the last one.
PAGE_ROWS, NEAR_ROWS = 60, 20


class HandbookScreen(FilteredScreen):
    """Entries on the left, the one under the cursor on the right."""

    PLACE = "Handbook"
    HINT = "words, or a kind: agent, deposit, method"
    BINDINGS = [
        bind("further", "page(1)", show=False, priority=True),
        bind("back-up", "page(-1)", show=False, priority=True),
        bind("last", "to_end", show=False, priority=True),
    ]

    _shelves: tuple[Shelf, ...] = ()
    _waiting: list[Row] = []

    def _parts(self) -> Iterable[Widget]:
        line, rows = super()._parts()
        yield line
        yield Horizontal(
            rows,
            VerticalScroll(Static("", id="entry"), id="entry-scroll", can_focus=False),
            id="handbook",
        )

    def on_mount(self) -> None:
        """Read the knowledge in the background."""
        self.serve(lambda: shelves(self.knowledge), self._show)

    def _show(self, read: tuple[Shelf, ...]) -> None:
        self._shelves = read
        self._fill()

    def _fill(self) -> None:
        words = self.words
        shown = [
            Row(f"{shelf.kind}/{entry.id}", Content(f"{entry.name}  ({shelf.kind})"), about=entry)
            for shelf in self._shelves
            for entry in shelf.entries
            if all(word in entry.searched or word == shelf.kind for word in words)
        ]
        listed = self.query_one("#rows", OptionList)
        self._waiting = shown[PAGE_ROWS:]
        listed.set_options(map(Held, shown[:PAGE_ROWS]))
        if shown:
            listed.highlighted = 0
        else:
            self.query_one("#entry", Static).update(Content("Nothing found; try fewer words."))
        self.show_place(f"Handbook: {len(shown)} entries")

    def _lengthen(self, *, wholly: bool = False) -> None:
        """Lay out more rows before the cursor reaches the last one."""
        listed = self.query_one("#rows", OptionList)
        at = listed.highlighted or 0
        if self._waiting and (wholly or at >= listed.option_count - NEAR_ROWS):
            count = len(self._waiting) if wholly else PAGE_ROWS
            listed.add_options(map(Held, self._waiting[:count]))
            del self._waiting[:count]

    def on_input_changed(self) -> None:
        """Search while typing."""
        self._fill()

    def on_input_submitted(self) -> None:
        """Go on in the list."""
        self.action_into_list()

    def on_option_list_option_highlighted(self) -> None:
        """Show the entry under the cursor."""
        self._lengthen()
        if self.row is not None:
            entry = self.row.about
            told = Reasons((Line(entry.name, is_bold=True), Line(""), *entry_blocks(entry)))
            self.query_one("#entry", Static).update(told.drawn())
            self.query_one("#entry-scroll").scroll_home(animate=False)

    def action_page(self, way: int) -> None:
        """Scroll the text of the entry."""
        scroll = self.query_one("#entry-scroll", VerticalScroll)
        scroll.scroll_relative(y=way * max(1, scroll.size.height - 2), animate=False)

    def action_to_end(self) -> None:
        """Go to the last entry of all, not to the last one laid out."""
        if self.line.has_focus:
            self.line.action_end()
            return
        self._lengthen(wholly=True)
        self.query_one("#rows", OptionList).action_last()
