"""The drawing of the animal on which a zone is chosen with the mouse."""

from __future__ import annotations

from typing import Any

from textual import events
from textual.content import Content
from textual.message import Message
from textual.style import Style
from textual.widgets import Static

from triage.tui.drawing import Drawing, DrawnZone
from triage.tui.zonestates import LEGEND, ZoneState

KEY_STYLE = Style(bold=True, underline=True)
CHOSEN_STYLE = Style(bold=True, reverse=True)
# Rows of the view, the legend, and what stands above and below the drawing.
LEGEND_ROOM = 10


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
        self._states: tuple[ZoneState, ...] = ()
        self._chosen = ""

    def on_mount(self) -> None:
        """Draw once."""
        self._draw()

    def show(self, drawing: Drawing | None, states: tuple[ZoneState, ...]) -> None:
        """Take another animal, and what is known of its zones."""
        if (drawing, states) != (self._drawing, self._states):
            self._drawing, self._states = drawing, states
            self._draw()

    def on_resize(self) -> None:
        """Draw again in the new size."""
        self._draw()

    def choose(self, zone_id: str) -> None:
        """Mark the zone that the list stands on."""
        if zone_id != self._chosen:
            self._chosen = zone_id
            self._draw()

    def _draw(self) -> None:
        drawing = self._drawing
        if drawing is None:
            self.update(Content("No drawing for this animal: choose the zone from the list."))
            return
        # In a low window the list beside the drawing says the same in words.
        legend = ("", LEGEND) if self.app.size.height > len(drawing.lines) + LEGEND_ROOM else ()
        art = with_signs(drawing, self._states, self._chosen)
        self.update(Content("\n").join((art, Content(drawing.view), *map(Content, legend))))

    def on_click(self, event: events.Click) -> None:
        """Say which zone lies nearest to the click."""
        place = event.get_content_offset(self)
        if self._drawing is None or place is None:
            return
        zone = self._drawing.nearest(place.y, place.x)
        if zone is not None:
            side = self._drawing.side_at(place.x) if zone.paired else None
            self.post_message(self.ZoneClicked(zone, side))


def with_signs(drawing: Drawing, states: tuple[ZoneState, ...], chosen: str) -> Content:
    """Return the drawing with its keys marked, and what is known of a zone beside its key."""
    lines = [[*line] for line in drawing.lines]
    styles: list[tuple[int, int, str | Style]] = []
    for row, column, zone in drawing.marks:
        side = drawing.side_at(column) if zone.paired else None
        state = next((each for each in states if each.is_at(zone.zone, side)), None)
        styles.append((row, column, CHOSEN_STYLE if zone.zone == chosen else KEY_STYLE))
        if state is not None:
            at = _beside(lines[row], column)
            lines[row][at : at + 1] = state.sign
            styles.append((row, at, state.style))
    told = ["".join(line) for line in lines]
    starts = [0]
    for line in told:
        starts.append(starts[-1] + len(line) + 1)
    art = Content("\n".join(told))
    for row, column, style in styles:
        art = art.stylize(style, starts[row] + column, starts[row] + column + 1)
    return art


def _beside(line: list[str], column: int) -> int:
    """Return where a sign stands beside a key: in free room, else on the outline, on no key."""
    places = [at for at in (column + 1, column - 1) if 0 <= at <= len(line)]
    held = {at: line[at] if at < len(line) else " " for at in places}
    free = [at for at in places if held[at] == " "]
    return (free or [at for at in places if not held[at].isalnum()] or places)[0]
