"""The drawing of the animal on which a zone is chosen with the mouse."""

from __future__ import annotations

from typing import Any

from textual import events
from textual.content import Content
from textual.message import Message
from textual.style import Style
from textual.widgets import Static

from triage.tui.drawing import Drawing, DrawnZone

KEY_STYLE = Style(bold=True, underline=True)
CHOSEN_STYLE = Style(bold=True, reverse=True)


class AnimalDrawing(Static):
    """Show the drawing with the keys of its zones; the chosen zone's keys are reversed."""

    class ZoneClicked(Message):
        """A place on the drawing was clicked."""

        def __init__(self, zone: DrawnZone, side: str | None) -> None:
            super().__init__()
            self.zone = zone
            self.side = side

    def __init__(self, drawing: Drawing | None, **more: Any) -> None:
        super().__init__("", **more)
        self._drawing = drawing
        self._chosen = ""

    def on_mount(self) -> None:
        """Draw once."""
        self._draw()

    def show(self, drawing: Drawing | None) -> None:
        """Take another animal."""
        self._drawing = drawing
        self._draw()

    def choose(self, zone_id: str) -> None:
        """Mark the zone that the list stands on."""
        if zone_id != self._chosen:
            self._chosen = zone_id
            self._draw()

    def _draw(self) -> None:
        if self._drawing is None:
            self.update(Content("No drawing for this animal: choose the zone from the list."))
            return
        art = Content("\n".join((*self._drawing.lines, self._drawing.view)))
        starts = [0]
        for line in self._drawing.lines:
            starts.append(starts[-1] + len(line) + 1)
        for row, column, zone in self._drawing.marks:
            place = starts[row] + column
            style = CHOSEN_STYLE if zone.zone == self._chosen else KEY_STYLE
            art = art.stylize(style, place, place + 1)
        self.update(art)

    def on_click(self, event: events.Click) -> None:
        """Say which zone lies nearest to the click."""
        place = event.get_content_offset(self)
        if self._drawing is None or place is None:
            return
        zone = self._drawing.nearest(place.y, place.x)
        if zone is not None:
            side = self._drawing.side_at(place.x) if zone.paired else None
            self.post_message(self.ZoneClicked(zone, side))
