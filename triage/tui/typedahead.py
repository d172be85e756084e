"""Keys that are typed before the screen they are meant for stands."""

from __future__ import annotations

import asyncio
from typing import Any
from weakref import WeakKeyDictionary

from textual import events
from textual.app import App
from textual.screen import Screen

from triage.errors import TriageError
from triage.tui.screens.windows import StopScreen

# A screen that does not stand by then gets its keys all the same.
STANDS_S = 1.0
LOOK_AGAIN_S = 0.02
# Stop, back and the end of the program are for whatever stands.
AT_ONCE = frozenset({"escape", "f12", "f9", "ctrl+q", "ctrl+c"})


class TypedAhead(App[TriageError | None]):
    """Each key reaches one screen, whole, in the order in which the keys came."""

    def __init__(self) -> None:
        super().__init__()
        self._typed_on: WeakKeyDictionary[events.Key, Screen[Any]] = WeakKeyDictionary()
        self._held: list[events.Key] = []
        self._held_for: Screen[Any] | None = None

    async def on_event(self, event: events.Event) -> None:
        """Give each key to the screen that the key before it left, once that screen stands.

        A key finds its act on the way back from the screen it was typed on. If another screen has
        come meanwhile, the framework would ask that one for an act, whether it stands or not, and
        a letter meant for its line would be lost.
        """
        if isinstance(event, events.Key):
            if self._has_to_wait(event):
                return
            await self._stands()
            if not event.is_forwarded:
                self._typed_on[event] = self.screen
            elif self._typed_on.get(event, self.screen) is not self.screen:
                event = events.Key(event.key, event.character)
        await super().on_event(event)

    @property
    def is_stopped(self) -> bool:
        """Whether all is stopped: only what belongs to that has keys then."""
        return bool(self.screen_stack) and isinstance(self.screen, StopScreen)

    def _has_to_wait(self, event: events.Key) -> bool:
        """Keep a key until the screen has something to act on; stop and back never wait."""
        if event.is_forwarded or event.key in AT_ONCE or self.is_stopped or not self.screen_stack:
            return False
        screen = self.screen
        if not (_is_waiting(screen) or (self._held and screen is self._held_for)):
            return False
        if not self._held:
            self._held_for = screen
            self.run_worker(self._let_go(screen), group="held")
        self._held.append(event)
        return True

    async def _let_go(self, screen: Screen[Any]) -> None:
        """Give out what was kept when the screen no longer waits and nothing is stopped."""
        while _is_waiting(screen) or self.is_stopped:  # noqa: ASYNC110  (each waits for its own)
            await asyncio.sleep(LOOK_AGAIN_S)
        held, self._held = self._held, []
        for event in held:
            self.post_message(event)

    async def _stands(self) -> None:
        """Wait until the screen stands; never for long, a key must come through."""
        loop = asyncio.get_running_loop()
        end = loop.time() + STANDS_S
        while (  # noqa: ASYNC110  (the framework tells of it by no event of ours)
            self.screen_stack and not self.screen.is_mounted and loop.time() < end
        ):
            await asyncio.sleep(0)


def _is_waiting(screen: Screen[Any]) -> bool:
    """Whether a screen still reads what its keys act on."""
    return screen.is_attached and bool(getattr(screen, "is_waiting", False))
