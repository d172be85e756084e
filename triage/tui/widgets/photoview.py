"""One photo with its path in words above it, drawn where the extra for pictures is installed."""

from __future__ import annotations

import asyncio
import io
import os
import struct
import sys
import warnings
from collections.abc import Mapping
from importlib import import_module
from pathlib import Path
from typing import Any
from unittest.mock import patch

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from triage.errors import TriageError

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
