"""Lines without any colour, for those who have asked for none."""

from __future__ import annotations

from functools import lru_cache

from rich.color import Color as RichColor
from rich.segment import Segment
from rich.style import Style
from textual.color import Color
from textual.filter import LineFilter

# How much lighter or darker (0-1) a background must be than the screen to mean something.
STANDS_OUT = 0.2
NO_COLOURS = Style.from_color(RichColor.default(), RichColor.default())
REVERSED = Style(reverse=True)


@lru_cache(2048)
def without_colour(style: Style, background: Color) -> Style:
    """Return a style without colours; what stood out by its background is reversed instead.

    The framework's own filter leaves greys, or drops the mark of the row under the cursor.
    """
    plain = style + NO_COLOURS
    ground = style.bgcolor
    if ground is None or ground.is_default:
        return plain
    difference = Color.from_rich_color(ground).brightness - background.brightness
    return plain + REVERSED if abs(difference) > STANDS_OUT else plain


class PlainLines(LineFilter):
    """Take every colour out of a line."""

    def apply(self, segments: list[Segment], background: Color) -> list[Segment]:
        """Return the segments without colour."""
        return [
            Segment(text, None if style is None else without_colour(style, background), control)
            for text, style, control in segments
        ]
