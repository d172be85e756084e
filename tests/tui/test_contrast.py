"""Text stands out from its ground by 4.5:1 or more in every theme that is offered.

The formula and the figure: WCAG 2.2, definition of relative luminance and contrast ratio, and
success criterion 1.4.3.
"""

from collections.abc import Iterator

import pytest
from textual.color import Color

from tests.tui.driving import Driver, driven
from tests.tui.places import reached
from triage.service.workshop import Workshop

LEAST = 4.5
LOOKED_AT = ("walk", "questions-finding", "filter", "plan", "observe", "particulars")


def luminance(colour: Color) -> float:
    def linear(part: int) -> float:
        share = part / 255
        return share / 12.92 if share <= 0.03928 else ((share + 0.055) / 1.055) ** 2.4

    return 0.2126 * linear(colour.r) + 0.7152 * linear(colour.g) + 0.0722 * linear(colour.b)


def contrast(one: Color, other: Color) -> float:
    lighter, darker = sorted((luminance(one), luminance(other)), reverse=True)
    return (lighter + 0.05) / (darker + 0.05)


def test_the_formula_gives_what_the_standard_says_of_black_and_white() -> None:
    assert contrast(Color(0, 0, 0), Color(255, 255, 255)) == pytest.approx(21.0)


def pairs(driver: Driver) -> Iterator[tuple[str, Color, Color]]:
    """Yield every piece of text that says something, with its colours as drawn."""
    for strip in driver.screen._compositor.render_strips():
        for text, style, _ in strip:
            inks = (style.color, style.bgcolor) if style else (None,)
            is_drawn = all(ink is not None and not ink.is_default for ink in inks)
            if is_drawn and any(sign.isalnum() for sign in text):
                yield text.strip(), *map(Color.from_rich_color, inks)


@pytest.mark.parametrize("screens", [2, pytest.param(6, marks=pytest.mark.slow)])
async def test_every_text_in_every_theme(
    screens: int, looking: Workshop, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NO_COLOR", "")
    faint = set()
    async with driven(looking) as driver:
        for name in LOOKED_AT[:screens]:
            await reached(driver, name)
            if name == "walk":
                driver.screen.show_fault("something")
                driver.screen.query_one("#countdown").add_class("-soon")
            # The two that use the terminal's own sixteen colours are the terminal's to judge.
            for theme in sorted(each for each in driver.app.available_themes if each[:4] != "ansi"):
                driver.app.theme = theme
                await driver.pilot.pause()
                drawn = list(pairs(driver))
                assert len(drawn) > 5
                faint |= {(theme, *each) for each in drawn if contrast(*each[1:]) < LEAST}
            driver.app.theme = "textual-dark"
    assert not faint
