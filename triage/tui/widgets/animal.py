"""The drawing of an animal, what is known of its zones, and the widget to choose one on."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from textual import events
from textual.content import Content
from textual.message import Message
from textual.style import Style
from textual.widgets import Static

from triage.case.models import CLEAN, Case
from triage.errors import TriageError, Where
from triage.plan.model import Plan
from triage.show.words import STATE_SIGNS, state_word

FOLDER = Path(__file__).parents[1] / "drawings"
# A terminal cell is about twice as high as wide.
CELL_HEIGHT = 2


@dataclass(frozen=True, slots=True)
class DrawnZone:
    """One zone of a drawing: its key, its id, and whether it has a left and a right."""

    key: str
    zone: str
    paired: bool


@dataclass(frozen=True)
class Drawing:
    """One animal: lines of signs, its zones, and where their keys stand (line, column)."""

    plan: str
    view: str
    zones: tuple[DrawnZone, ...]
    lines: tuple[str, ...]
    marks: tuple[tuple[int, int, DrawnZone], ...]

    @property
    def width(self) -> int:
        """Columns of the widest line."""
        return max((len(line) for line in self.lines), default=0)

    def by_key(self, key: str) -> DrawnZone | None:
        """Return the zone of a key, None if no zone has it."""
        return next((zone for zone in self.zones if zone.key == key), None)

    def by_zone(self, zone_id: str) -> DrawnZone | None:
        """Return the drawn zone with this id, None if it is not drawn."""
        return next((zone for zone in self.zones if zone.zone == zone_id), None)

    def nearest(self, line: int, column: int) -> DrawnZone | None:
        """Return the zone whose key stands nearest to a place."""
        if not self.marks:
            return None
        return min(
            self.marks,
            key=lambda mark: (CELL_HEIGHT * (mark[0] - line)) ** 2 + (mark[1] - column) ** 2,
        )[2]

    def side_at(self, column: int) -> str:
        """Return the side of the animal on which a column lies."""
        return "left" if column < self.width / 2 else "right"


def drawn_plans() -> tuple[str, ...]:
    """Return the ids of the body plans that have a drawing."""
    return tuple(sorted(path.stem for path in FOLDER.glob("*.txt")))


@lru_cache
def load_drawing(plan: str) -> Drawing | None:
    """Return the drawing of a body plan, None if there is none.

    Raises
    ------
    TriageError: the file has a line that is no zone, or a key is drawn but not explained.
    """
    path = FOLDER / f"{plan}.txt"
    if path.stem not in drawn_plans():
        return None
    return parse_drawing(path.read_text(encoding="utf-8"), path.name)


def parse_drawing(text: str, shown: str) -> Drawing:
    """Return the drawing written in a text: a head of zones, ``---``, then the lines."""
    head, _, art = text.partition("\n---\n")
    plan = view = ""
    zones: list[DrawnZone] = []
    for number, line in enumerate(head.splitlines(), 1):
        match line.split():
            case ["plan:", name]:
                plan = name
            case ["view:", *_]:
                view = line.removeprefix("view:").strip()
            case ["zone", key, zone, *more] if len(more) < 2:
                zones.append(DrawnZone(key, zone, paired=more == ["paired"]))
            case _:
                mend = "write: zone KEY ID, with paired behind it if there are two"
                raise TriageError(f'"{line}" is no line of a drawing', Where(shown, number), mend)
    lines = tuple(line.rstrip() for line in art.splitlines())
    by_key = {zone.key: zone for zone in zones}
    marks = (
        (row, column, by_key[sign])
        for row, line in enumerate(lines)
        for column, sign in enumerate(line)
        if sign in by_key
    )
    return Drawing(plan, view, tuple(zones), lines, tuple(marks))


# What is to be done, what waits for an answer or for other steps, what is done, what is closed.
# Only colours that stand out from the ground in every theme.
STYLES = {
    "o": "bold $text-primary",
    "?": "bold $text-secondary",
    ">": "$foreground",
    "+": "$foreground",
    "=": "$foreground",
    "#": "$foreground",
    "x": "$text-error",
}
LEGEND = "o to clean  ? not known  x stopped\n+ = # done or left; none: not seen yet"


@dataclass(frozen=True, slots=True)
class ZoneState:
    """One finding of a zone, or that the zone is clean; ``side`` None or both is the whole zone."""

    zone: str
    side: str | None
    sign: str
    words: str

    @property
    def style(self) -> str:
        """The colour of the sign."""
        return STYLES[self.sign]

    def is_at(self, zone: str, side: str | None) -> bool:
        """Return whether it is about a zone on a side of the animal."""
        return self.zone == zone and (side is None or self.side in {side, "both", None})


def zone_states(case: Case | None, plan: Plan | None) -> tuple[ZoneState, ...]:
    """Return what was found in the zones, what is to be cleaned first."""
    clean = {found.id for found in case.findings if found.is_clean} if case else set()
    states = []
    for found in plan.findings if plan else ():
        sign = STATE_SIGNS[found.state][0]
        side = f"{found.side}: " if found.side else ""
        sure = f", {found.standing}" if found.deposit else ""
        words = f"{sign} {side}{found.deposit_name}{sure} - {state_word(found)}"
        if found.id in clean:
            sign, words = "=", f"= {CLEAN}{f': {found.side}' if found.side else ''}"
        states.append(ZoneState(found.zone, found.side, sign, words))
    return tuple(sorted(states, key=lambda each: [*STYLES].index(each.sign)))


KEY_STYLE = Style(bold=True, underline=True)
CHOSEN_STYLE = Style(bold=True, reverse=True)
# Rows of the view, the legend, and what stands above and below the drawing.
LEGEND_ROOM = 10


class AnimalDrawing(Static):
    """Show the drawing with the keys of its zones; the chosen zone's keys are reversed."""

    @dataclass
    class ZoneClicked(Message):
        """A place on the drawing was clicked."""

        zone: DrawnZone
        side: str | None

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
    art = [Content("".join(line)) for line in lines]
    for row, column, style in styles:
        art[row] = art[row].stylize(style, column, column + 1)
    return Content("\n").join(art)


def _beside(line: list[str], column: int) -> int:
    """Return where a sign stands beside a key: in free room, else on the outline, on no key."""
    places = [at for at in (column + 1, column - 1) if 0 <= at <= len(line)]
    held = {at: line[at] if at < len(line) else " " for at in places}
    free = [at for at in places if held[at] == " "]
    return (free or [at for at in places if not held[at].isalnum()] or places)[0]
