"""Drive the interface with keys alone and wait for what is seen, never for a length of time."""

from __future__ import annotations

import asyncio
import time
from collections.abc import AsyncIterator, Callable, Mapping
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from types import MappingProxyType
from typing import Any
from unittest.mock import patch

from rich.segment import Segment
from textual import events
from textual.command import CommandPalette
from textual.keys import _character_to_key
from textual.pilot import Pilot
from textual.strip import Strip
from textual.worker import WorkerCancelled

from tests.tui.list_labels import screens
from triage.case.models import Case
from triage.plan.model import Step
from triage.service.workshop import Workshop
from triage.tui.app import TriageApp
from triage.tui.keysets import WORDS, keyset_of
from triage.tui.palette import Palette
from triage.tui.services import Services

CASE = "bumblebee-plate-3"
NOON = datetime(2026, 3, 4, 12, 0, tzinfo=UTC)
PATIENCE_S = 120.0
A_LOOK_S = 0.005
TIRELESS = 200  # drawings one upon the other: what nobody touches rests after a few
# Keys with a name that write a sign.
SIGNS = {_character_to_key(sign): sign for sign in " /-+,.?':;=%()_!"}


@dataclass
class Hand:
    """A clock that is moved by hand."""

    now: datetime = NOON

    def __call__(self) -> datetime:
        return self.now

    def on(self, seconds: float) -> None:
        self.now += timedelta(seconds=seconds)


def shown(app: TriageApp) -> str:
    """Return what stands on the screen, as plain lines."""
    strips = app.screen._compositor.render_strips()
    return "\n".join("".join(segment.text for segment in strip).rstrip() for strip in strips)


def colours(driver: Driver) -> set[str]:
    """Return every colour that would reach the terminal."""
    found = set()
    for strip in driver.screen._compositor.render_strips():
        for segment in filtered(driver, strip):
            for colour in (segment.style.color, segment.style.bgcolor) if segment.style else ():
                if colour is not None and not colour.is_default:
                    found.add(colour.name)
    return found


def filtered(driver: Driver, strip: Strip) -> list[Segment]:
    segments = list(strip)
    for line_filter in driver.app.get_line_filters():
        segments = line_filter.apply(segments, driver.screen.background_colors[1])
    return segments


@dataclass
class Pulse:
    """Seconds that go on by ``a_look_s`` at each look: nobody here types ahead, unless it is 0."""

    a_look_s: float = 1.0
    seconds: float = 0.0

    def __call__(self) -> float:
        self.seconds += self.a_look_s
        return self.seconds


def next_step(workshop: Workshop, case: str) -> Step:
    """Return the step that is due in a case."""
    step = workshop.plan(workshop.load(case)).next_step()
    assert step is not None
    return step


def _short(screen: type) -> str:
    return screen.__name__.removesuffix("Screen").lower()


SCREENS = frozenset(map(_short, (*screens(), Palette)))


class Driver:
    """Keys in, screen out; a screen is called by its class without the last word: ``walk``."""

    def __init__(self, app: TriageApp, pilot: Pilot[Any], case: str = "") -> None:
        self.app = app
        self.pilot = pilot
        self.case_id = case

    @property
    def screen(self) -> Any:
        return self.app.screen

    @property
    def workshop(self) -> Workshop:
        return self.app.services.workshop

    @property
    def case(self) -> Case:
        """The case that was opened, as it stands on the disk."""
        return self.workshop.load(self.case_id)

    @property
    def text(self) -> str:
        return shown(self.app)

    @property
    def words(self) -> str:
        """What stands on the screen, wherever its lines break."""
        return " ".join(self.text.replace("┃", " ").split())

    @property
    def last_line(self) -> str:
        return self.text.splitlines()[-1]

    @property
    def fault(self) -> str:
        return self.screen.query_one("#fault").text

    @property
    def choices(self) -> list[str]:
        """What can be chosen in the window that is open."""
        return [each for each, _ in self.screen._choices]

    @property
    def rows(self) -> list[str]:
        """The rows of the list that can be chosen."""
        return [row.id for row in self.screen.query_one("#rows").options if not row.disabled]

    def at(self, *names: str) -> bool:
        """Return whether a screen of one of these names is on top."""
        assert SCREENS.issuperset(names), names
        return not {_short(each) for each in type(self.screen).__mro__}.isdisjoint(names)

    async def until(self, holds: Callable[[], object], what: str = "") -> None:
        """Wait until something holds; fail with the screen as it is."""
        end = time.monotonic() + PATIENCE_S
        while True:
            await self.worked()
            await self.calm()
            if holds():
                return
            if time.monotonic() > end:
                raise AssertionError(f"never: {what}\n{self.text}")
            await asyncio.sleep(A_LOOK_S)  # a clock or a thread has to go on first

    async def calm(self) -> bool:
        """Go on until nothing is left that can run, and draw; return whether that led to more.

        The framework's own pause waits for an idle processor, 20 ms at the least and up to a
        second on a machine that does other work; its barrier through the queues of all widgets
        takes more than most keys do. That the loop has nothing ready says the same as both.
        """
        ready = asyncio.get_running_loop()._ready
        await asyncio.sleep(0)
        while ready and self.app._exception is None:  # noqa: ASYNC110  (what is ready must run)
            await asyncio.sleep(0)
        if self.app._exception is not None:
            raise self.app._exception  # a program that broke down is never calm
        self.screen._on_timer_update()
        return bool(ready)

    async def worked(self) -> bool:
        """Wait for what was asked for; return whether anything was under way."""
        stack = self.app.screen_stack
        busy = [
            w
            for w in self.app.workers
            if not w.is_finished
            and w.group != "assure"
            # The search of a palette that STOP took away waits for ever, and for nobody.
            and not (isinstance(w.node, CommandPalette) and w.node not in stack)
        ]
        if busy:
            with suppress(WorkerCancelled):  # it read for a screen that is left
                await self.app.workers.wait_for_complete(busy)
        return bool(busy)

    async def assured(self) -> None:
        """Wait until the plan tells how firm its steps are."""
        await self.until(lambda: self.screen.sure is not None, "no firmness")

    async def settled(self) -> None:
        """Wait until no act of the workshop is under way and all messages are read."""
        quiet = drawn = 0
        while quiet < 2:
            moved = await self.calm()
            drawn += moved
            assert drawn < TIRELESS, f"it never comes to rest\n{self.text}"
            if await self.worked() or moved:
                quiet = 0
            elif getattr(self.screen, "is_at_work", False):
                quiet = 0
                await asyncio.sleep(A_LOOK_S)
            else:
                quiet += 1

    def send(self, key: str) -> None:
        """Send one key as the terminal would."""
        name = _character_to_key(key) if len(key) == 1 and not key.isalnum() else key
        sign = SIGNS.get(name, name if len(name) == 1 else None)
        event = events.Key(name, sign)
        event.set_sender(self.app)
        assert self.app._driver is not None
        self.app._driver.send_message(event)

    async def press(self, *keys: str, on: str | type = "") -> None:
        """Press keys one after the other, each when the last has had its effect; wait for ``on``."""
        for key in keys:
            self.send(key)
            await asyncio.sleep(0)
            await self.settled()
        if on:
            await self.on(on)

    async def choose(self, *choices: str) -> None:
        """Take one thing after the other from the windows that open."""
        for choice in choices:
            await self.press(WORDS.pick(self.choices.index(choice)))

    async def to_row(self, row: str) -> None:
        """Move down to a row of the list."""
        await self.press("home", *["down"] * self.rows.index(row))
        assert self.screen.query_one("#rows").highlighted_option.id == row

    async def write(self, text: str, *then: str, on: str | type = "") -> None:
        """Type a text, then press keys."""
        for sign in text:
            self.send(sign)
            await self.calm()
        await self.settled()
        await self.press(*then, on=on)

    async def type_ahead(self, *keys: str) -> None:
        """Send keys and let them go through the queues, without waiting for what comes of them."""
        for key in keys:
            self.send(key)
            for _ in range(6):
                await self.calm()

    async def make_ready(self, observed: str = "") -> None:
        """Tick every line of a step's checklist, then say what was seen at its hold point."""
        if self.screen.panel == "ready":
            lines = self.screen.query_one("#checklist").lines
            await self.press(*map(str, range(1, len(lines) + 1)), "enter")
        if observed and self.screen.panel == "hold":
            await self.write(observed, "enter")
        assert self.screen.panel == "work" or not observed

    async def record(self, key: str) -> None:
        """Record an outcome; where the step's time is not over, say that it was ended early."""
        await self.press(key)
        if self.at("choice"):
            await self.press(keyset_of(self.app).answers[1])
        await self.on("recorded")

    async def on(self, screen: str | type) -> None:
        """Wait until a screen is on top."""
        name = screen if isinstance(screen, str) else _short(screen)
        await self.until(lambda: self.at(name), f"no {name}")
        await self.settled()

    async def answer_all(self, known: Mapping[str, str] = MappingProxyType({})) -> list[str]:
        """Answer what is asked by one key each, what is not known with u; return the questions."""
        asked: list[str] = []
        assert self.at("question")
        while (question := self.screen.question) is not None:
            assert len(asked) < 60, "asking never ends"
            asked.append(question.question)
            answers = [answer for answer, _ in question.answers]
            known_ = known.get(question.question)
            await self.press(WORDS.answers[answers.index(known_)] if known_ else "u")
        return asked


@asynccontextmanager
async def driven(
    workshop: Workshop,
    *,
    case: str | None = None,
    size: tuple[int, int] = (80, 24),
    clock: Callable[[], datetime] | None = None,
    pulse: Pulse | None = None,
) -> AsyncIterator[Driver]:
    """Run the interface without a terminal."""
    app = TriageApp(Services(workshop, None, clock, pulse or Pulse()), case)
    app.animation_level = "none"
    # ``calm`` draws; what the framework draws sixty times a second in between is seen by nobody.
    with patch("textual.screen.UPDATE_PERIOD", 0.25):
        async with app.run_test(size=size) as pilot:
            driver = Driver(app, pilot, case or "")
            await driver.settled()
            yield driver
