"""Level against time with the limits as named lines, drawn with signs that need no colour."""

from __future__ import annotations

from typing import Any

from textual_plotext import PlotextPlot

from triage.airplot import draw_air
from triage.plan.airpicture import AirPicture


class AirCurve(PlotextPlot):
    """The picture of one release; the same in words stands beside it."""

    can_focus = False

    def __init__(self, **more: Any) -> None:
        super().__init__(**more)
        # The terminal's own ground; the widget would else paint one of its own.
        self.theme = "clear"
        self.picture: AirPicture | None = None

    def show(self, picture: AirPicture | None) -> None:
        """Show a picture; without one the place stays free."""
        self.picture = picture
        self.display = picture is not None and bool(picture.curve.minutes)
        if picture is not None and self.display:
            draw_air(self.plt, picture, colour=not self.app.no_color)
            self.refresh()
