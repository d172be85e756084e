"""Draw the air in plain characters: the curve by plotext, the day as bars of signs.

The same drawing serves the command line (the plotext module) and the interface (the plot of a
widget); both have the same functions.
"""

from __future__ import annotations

import math
import re
from typing import Any

from triage.exposure.wording import number, plainly
from triage.plan.aircalc import AirPicture
from triage.plan.daycalc import DayAnswer

FACE_SIGN, ROOM_SIGN, LIMIT_SIGN = "*", ".", "-"
DECADES_SHOWN = 5
LEAST_TOP = 1e-3
"""A picture of nothing still needs a scale [mg/m3]."""
NAME_PLACES = ((0.98, "right"), (0.1, "left"), (0.55, "center"))
WIDTH, HEIGHT = 90, 24
_COLOUR_CODES = re.compile(r"\x1b\[[0-9;]*m")


def draw_air(plot: Any, picture: AirPicture, *, colour: bool) -> None:
    """Draw level against time on a logarithmic scale, limits as named lines.

    Parameters
    ----------
    plot    the plotext module, or anything with its functions
    picture what to draw; an empty curve leaves an empty frame with its title
    colour  False draws with signs only
    """
    plot.clear_figure()
    plot.theme("clear")  # the terminal's own ground; colours only where they are named
    plot.title(f"{picture.title}   {FACE_SIGN} face   {ROOM_SIGN} room   {LIMIT_SIGN} limit")
    plot.xlabel("minutes, unfavourable end")
    plot.ylabel("mg/m3")
    curve = picture.curve
    if not curve.minutes:
        return
    marks = picture.lowest_marks()
    top = max((*curve.near_mg_per_m3, *(each.mg_per_m3 for each in marks), LEAST_TOP))
    decades = list(
        range(math.ceil(math.log10(top)) - DECADES_SHOWN, math.ceil(math.log10(top)) + 1)
    )
    low = float(decades[0])
    plot.ylim(low, decades[-1])
    plot.yticks(decades, [plainly(10.0**each) for each in decades])
    minutes = list(curve.minutes)
    ends = [minutes[0], minutes[-1]]
    for mark in marks:
        level = _log(mark.mg_per_m3, low)
        plot.plot(ends, [level, level], marker=LIMIT_SIGN, color="red" if colour else None)
    for sign, levels, shade in (
        (ROOM_SIGN, curve.room_mg_per_m3, "blue"),
        (FACE_SIGN, curve.near_mg_per_m3, "cyan"),
    ):
        heights = [_log(each, low) for each in levels]
        plot.plot(minutes, heights, marker=sign, color=shade if colour else None)
    for place, mark in enumerate(marks):
        # Names side by side, so that limits of nearly the same height stay readable.
        share, side = NAME_PLACES[place % len(NAME_PLACES)]
        label = f" {mark.words} {number(mark.mg_per_m3)} "
        plot.text(
            label, ends[0] + share * (ends[1] - ends[0]), _log(mark.mg_per_m3, low), alignment=side
        )


def _log(level: float, low: float) -> float:
    """Return the height of a level on the scale; what lies below the picture stands on its foot."""
    return max(math.log10(level), low) if level > 0.0 else low


def air_text(picture: AirPicture, *, colour: bool) -> str:
    """Return the drawing as text, with colour codes only if asked for."""
    import plotext  # noqa: PLC0415  (slow to load, and only the drawing needs it)

    plotext.plot_size(WIDTH, HEIGHT)
    draw_air(plotext, picture, colour=colour)
    plotext.plot_size(WIDTH, HEIGHT)
    text: str = plotext.build()
    plotext.clear_figure()
    return text if colour else _COLOUR_CODES.sub("", text)


def day_bars(answer: DayAnswer, width: int = 40) -> tuple[str, ...]:
    """Return one line per averaging window: name, bar (``>``: more than all), percent, agents."""
    lines = []
    for bar in answer.bars:
        drawn = ("#" * round(min(max(bar.share, 0.0), 1.0) * width)).ljust(width, ".")
        drawn, word = (drawn, "ok") if bar.share <= 1.0 else (f"{drawn[: width - 1]}>", "OVER")
        percent = f"{number(bar.share * 100)} %"
        lines.append(f"{bar.window:>6} [{drawn}] {percent:>7} {word}  ({', '.join(bar.agents)})")
    return tuple(lines)
