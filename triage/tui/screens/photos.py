"""The photos of a case, before and after each attempt, side by side."""

from __future__ import annotations

import asyncio
import io
import os
import struct
import sys
import warnings
from collections.abc import Iterable, Mapping
from importlib import import_module
from pathlib import Path
from typing import Any
from unittest.mock import patch

from textual.app import ComposeResult
from textual.containers import Horizontal, Vertical
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from triage.case.models import Attempt, Case
from triage.errors import TriageError
from triage.service.photographs import view_photo
from triage.show.blocks import lines_of
from triage.show.compared import measured_words
from triage.tui.keysets import bind
from triage.tui.screens.base import ServiceScreen

NONE = "No photo is recorded yet. While you work on a step, {key} names the photos of that pass."
MARKS = "ring: it left; cross: it came; square: fine structure is gone"
# What is said of a photo and where it stands; an attempt with both of its photos.
Placed = tuple[str, Path | None]
Pictured = tuple[Attempt, list[Placed]]


class PhotosScreen(ServiceScreen):
    """One attempt at a time, the newest first."""

    PLACE = "Photos"
    BINDINGS = [
        bind("down", "turn(1)", "Older"),
        bind("up", "turn(-1)", "Newer"),
        bind("choose", "view", "Open in the viewer"),
        bind("compare", "compare"),
    ]

    case_id: str
    attempts: list[Pictured] = []
    _at = 0

    def _parts(self) -> Iterable[Widget]:
        yield Static("", id="photo-about")
        yield Static("", id="photo-told")
        yield Horizontal(PhotoView(id="before"), PhotoView(id="after"), id="pair")

    def on_mount(self) -> None:
        """Read the case."""
        self.serve(self._read, self._take)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Offer to turn only where there is more than one attempt, to compare where both are."""
        if action == "turn":
            return len(self.attempts) > 1
        if action == "compare":
            return None not in self._pair()
        if action == "view":
            return any(self._pair())
        return super().check_action(action, parameters)

    def _read(self) -> tuple[Case, list[Pictured]]:
        case = self.workshop.load(self.case_id)
        named = ((each, (each.photo_before, each.photo_after)) for each in reversed(case.attempts))
        return case, [(each, [*map(self._placed, pair)]) for each, pair in named if any(pair)]

    def _placed(self, photo: str | None) -> Placed:
        if photo is None:
            return "no photo", None
        try:
            place = self.workshop.check_photo(self.case_id, photo)
        except TriageError as fault:
            return f"{photo}\nNOT THERE: {fault.line()}", None
        return f"{photo}\n{place.stat().st_size / 1e6:.2g} MB", place

    def _take(self, read: tuple[Case, list[Pictured]]) -> None:
        case, self.attempts = read
        self.show_place(f"{case.title or case.id}: photos")
        self.refresh_bindings()
        self._show()

    def _show(self) -> None:
        about = self.query_one("#photo-about", Static)
        if not self.attempts:
            key = self.sign("pass")
            about.update(Content(NONE.format(key=key)))
            self.query_one("#pair").display = False
            return
        attempt, pair = self.attempts[self._at]
        outcome = self.knowledge.outcome_words(attempt.method, attempt.outcome)
        method = self.knowledge.methods.get(attempt.method or "")
        about.update(
            Content(
                f"{self._at + 1}/{len(self.attempts)}  {attempt.id}  "
                f"{method.name if method else attempt.step}: {outcome}, "
                f"{attempt.at:%Y-%m-%d %H:%M}"
                + (f"\n{kept}" if (kept := measured_words(attempt.measured)) else "")
            )
        )
        for name, (words, place) in zip(("before", "after"), pair, strict=True):
            self.query_one(f"#{name}", PhotoView).show(f"{name.upper()}  {words}", place)

    def _pair(self) -> list[Path | None]:
        return [place for _, place in self.attempts[self._at][1]] if self.attempts else [None, None]

    def action_view(self) -> None:
        """Show both photos in the viewer of the system."""
        pair = [place for place in self._pair() if place is not None]

        def act() -> None:
            for place in pair:
                view_photo(place)

        self.serve(act, lambda _: None)

    def action_compare(self) -> None:
        """Say what left, what came and whether it did harm; meanwhile, how far it is."""
        before, after = self._pair()
        if before is None or after is None:
            return
        about = self.query_one("#photo-told", Static)
        about.update("Comparing ...")
        seen: list[str] = []

        def told(words: str) -> None:
            if words.startswith("at a glance"):
                seen.append(words)
            self.app.call_from_thread(about.update, "\n".join([*seen, f"Comparing: {words} ..."]))

        views = [self.query_one(f"#{name}", PhotoView) for name in ("before", "after")]
        wide = max(view.points_wide for view in views)

        def act() -> tuple[str, tuple[Any, Any]]:
            from triage.service.measuring import measured  # noqa: PLC0415  (loads arrays)

            found = measured(self.knowledge, (before, after), told=told, glanced=told)
            return "\n".join(lines_of(found.lines())), found.marked(wide)

        def show(read: tuple[str, tuple[Any, Any]]) -> None:
            about.update("\n".join((read[0], MARKS)))
            for view, points in zip(views, read[1], strict=True):
                view.draw(points)

        self.serve(act, show, about.update)

    def action_turn(self, by: int) -> None:
        """Go to an older or a newer attempt."""
        if self.attempts:
            self._at = max(0, min(len(self.attempts) - 1, self._at + by))
            self.query_one("#photo-told", Static).update("")
            self.refresh_bindings()
            self._show()


# Points on the longer side: no terminal shows more.
LARGEST = 2000
# Terminals known to draw pixels: by placeholders in cells, or by rows of six points.
PLACEHOLDERS = ("xterm-kitty", "xterm-ghostty")
SIXELS = ("foot", "mlterm", "contour", "WezTerm", "iTerm.app")
HALVES, CELL_POINTS = "HalfcellImage", 10  # a cell is about ten points wide
NO_LIBRARY = TriageError("pictures are not drawn here", mend='install the extra "picture"')


def drawer(environ: Mapping[str, str] = os.environ) -> type[Widget]:
    """Return what draws photos: in pixels where the terminal is known for it, else in half cells.

    The library would ask the terminal when it is first imported, and take a key that is pressed
    meanwhile for the answer: it is told that there is none, and how large a cell is.
    """
    if "textual_image.widget" not in sys.modules:
        os.environ.update(_cell_size())
        with patch.object(sys, "__stdout__", io.StringIO()):
            import_module("textual_image.widget")
    found: Any = sys.modules["textual_image.widget"]
    term, program = environ.get("TERM", ""), environ.get("TERM_PROGRAM", "")
    kind = HALVES
    if term.startswith(PLACEHOLDERS):
        kind = "TGPImage"
    elif term.startswith(SIXELS) or program in SIXELS:
        kind = "SixelImage"
    made: type[Widget] = getattr(found, kind)
    return made


def _cell_size() -> dict[str, str]:
    """Return the points of a cell as the library takes them, nothing where nobody tells."""
    try:
        import fcntl  # noqa: PLC0415  (not on every platform)
        import termios  # noqa: PLC0415

        told = fcntl.ioctl(1, termios.TIOCGWINSZ, bytes(8))
    except (ImportError, OSError):
        return {}
    rows, columns, width, height = struct.unpack("HHHH", told)
    if not all((rows, columns, width, height)):
        return {}
    return {"TEXTUAL_CELL_WIDTH": f"{width // columns}", "TEXTUAL_CELL_HEIGHT": f"{height // rows}"}


def upright(source: Any) -> Any:
    """Return a photo as it was held, made small enough to be shown; or points as a picture.

    Raises
    ------
    TriageError: no library for pictures, or the file is no picture that can be read.
    """
    try:
        from PIL import Image, ImageOps  # noqa: PLC0415  (an optional extra)
    except ImportError:
        raise NO_LIBRARY from None
    if not isinstance(source, Path):
        return Image.fromarray(source)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(source) as opened:
                opened.draft("RGB", (LARGEST, LARGEST))
                picture = ImageOps.exif_transpose(opened).convert("RGB")
                picture.thumbnail((LARGEST, LARGEST))
                return picture
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as fault:
        reason = "it is too large" if "bomb" in str(fault) else "it is no picture"
        raise TriageError(
            f'"{source.name}" cannot be drawn: {reason}', mend="open it in another program"
        ) from None


class PhotoView(Vertical):
    """Words first; the picture is an addition where the terminal has colours."""

    def compose(self) -> ComposeResult:
        """Lay out the words; the picture comes below them."""
        yield Static("", classes="photo-words")

    def show(self, words: str, place: Path | None) -> None:
        """Show what is said about a photo and, if it is there, the photo."""
        self.query_one(".photo-words", Static).update(Content(words))
        self.draw(place)

    @property
    def points_wide(self) -> int:
        """Return how many points a picture is drawn with along its width, about."""
        try:
            is_halves = drawer().__name__ == HALVES
        except ImportError:
            is_halves = True
        return max(40, self.size.width * (1 if is_halves else CELL_POINTS))

    def draw(self, source: Any) -> None:
        """Draw a photo from its file, or its points; None draws nothing."""
        self.run_worker(self._drawing(source), exclusive=True, group=f"photo-{self.id}")

    async def _drawing(self, source: Any) -> None:
        await self.query(".photo-picture").remove()
        if source is not None:
            await self.mount(await self._picture(source))

    async def _picture(self, source: Any) -> Widget:
        if self.app.no_color:
            return _said("colours are off. Open the file to see it.")
        try:
            picture = await asyncio.to_thread(upright, source)
            made: type[Any] = drawer()
        except ImportError:
            return _said(NO_LIBRARY.line())
        except TriageError as fault:
            return _said(fault.line())
        drawn: Widget = made(picture, classes="photo-picture")
        return drawn


def _said(why: str) -> Static:
    return Static(Content(f"Not drawn: {why}"), classes="photo-picture")
