"""Drawings of the animal: text files with the keys of their zones written into them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

from triage.errors import TriageError, Where

FOLDER = Path(__file__).parent / "drawings"
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
        word, _, rest = line.partition(" ")
        if word == "plan:":
            plan = rest.strip()
        elif word == "view:":
            view = rest.strip()
        elif word == "zone" and len(rest.split()) in {2, 3}:
            key, zone, *more = rest.split()
            zones.append(DrawnZone(key, zone, paired=more == ["paired"]))
        else:
            raise TriageError(
                f'"{line}" is no line of a drawing',
                Where(shown, number),
                "write: zone KEY ID, with paired behind it if there are two",
            )
    lines = tuple(line.rstrip() for line in art.splitlines())
    by_key = {zone.key: zone for zone in zones}
    marks = []
    for row, line in enumerate(lines):
        for column, sign in enumerate(line):
            if sign.isalnum() and sign in by_key:
                marks.append((row, column, by_key[sign]))
    return Drawing(plan, view, tuple(zones), lines, tuple(marks))
