"""One photo with its path in words above it, drawn where the extra for pictures is installed."""

from __future__ import annotations

import asyncio
import io
import select
import sys
import warnings
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Any

from textual.app import ComposeResult
from textual.containers import Vertical
from textual.content import Content
from textual.widget import Widget
from textual.widgets import Static

from triage.errors import TriageError

# Points on the longer side: no terminal shows more.
LARGEST = 2000
NO_LIBRARY = TriageError("pictures are not drawn here", mend='install the extra "picture"')


def ask_terminal() -> None:
    """Ask the terminal whether it shows pixels, before the interface listens to it.

    Not where a key is waiting already: it would be taken for the answer, and be lost.
    """
    if find_spec("textual_image") is None:
        return
    try:
        is_quiet = not select.select([sys.stdin], [], [], 0)[0]
    except (OSError, ValueError):
        is_quiet = False
    if is_quiet:
        import_module("textual_image.widget")
    else:
        _drawer()


def _drawer() -> type[Widget]:
    """Return what draws photos: in pixels where the terminal said so, else in half cells."""
    if "textual_image.widget" not in sys.modules:
        # The library asks the terminal when it is first imported; here that is not its to answer.
        from unittest.mock import patch  # noqa: PLC0415  (seldom needed, slow to import)

        with patch.object(sys, "__stdout__", io.StringIO()):
            import_module("textual_image.widget")
    found: Any = sys.modules["textual_image.widget"]
    is_plain = found.AutoRenderable in (found.UnicodeRenderable, found.HalfcellRenderable)
    drawer: type[Widget] = found.HalfcellImage if is_plain else found.Image
    return drawer


def upright(place: Path) -> Any:
    """Return a photo as it was held, made small enough to be shown.

    Raises
    ------
    TriageError: no library for pictures, or the file is no picture that can be read.
    """
    try:
        from PIL import Image, ImageOps  # noqa: PLC0415  (an optional extra)
    except ImportError:
        raise NO_LIBRARY from None
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            with Image.open(place) as opened:
                opened.draft("RGB", (LARGEST, LARGEST))
                picture = ImageOps.exif_transpose(opened).convert("RGB")
                picture.thumbnail((LARGEST, LARGEST))
                return picture
    except (OSError, ValueError, SyntaxError, Image.DecompressionBombError) as fault:
        reason = "it is too large" if "bomb" in str(fault) else "it is no picture"
        raise TriageError(
            f'"{place.name}" cannot be drawn: {reason}', mend="open it in another program"
        ) from None


class PhotoView(Vertical):
    """Words first; the picture is an addition where the terminal has colours."""

    def compose(self) -> ComposeResult:
        """Lay out the words; the picture comes below them."""
        yield Static("", classes="photo-words")

    def show(self, words: str, place: Path | None) -> None:
        """Show what is said about a photo and, if it is there, the photo."""
        self.query_one(".photo-words", Static).update(Content(words))
        self.run_worker(self._drawing(place), exclusive=True, group=f"photo-{self.id}")

    async def _drawing(self, place: Path | None) -> None:
        await self.query(".photo-picture").remove()
        if place is not None:
            await self.mount(await self._picture(place))

    async def _picture(self, place: Path) -> Widget:
        if self.app.no_color:
            return _said("colours are off. Open the file to see it.")
        try:
            picture = await asyncio.to_thread(upright, place)
            drawer: type[Any] = _drawer()
        except ImportError:
            return _said(NO_LIBRARY.line())
        except TriageError as fault:
            return _said(fault.line())
        drawn: Widget = drawer(picture, classes="photo-picture")
        return drawn


def _said(why: str) -> Static:
    return Static(Content(f"Not drawn: {why}"), classes="photo-picture")
