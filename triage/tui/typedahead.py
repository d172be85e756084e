"""Keys that are typed before the screen they are meant for stands."""

from __future__ import annotations

import asyncio
from typing import Any
from weakref import WeakKeyDictionary

from textual import events
from textual.app import App
from textual.screen import Screen

from triage.errors import TriageError

# A screen that does not stand by then gets its keys all the same.
STANDS_S = 1.0


class TypedAhead(App[TriageError | None]):
    """Each key reaches one screen, whole, in the order in which the keys came."""

    def __init__(self) -> None:
        super().__init__()
        self._typed_on: WeakKeyDictionary[events.Key, Screen[Any]] = WeakKeyDictionary()

    async def on_event(self, event: events.Event) -> None:
        """Give each key to the screen that the key before it left, once that screen stands.

        A key finds its act on the way back from the screen it was typed on. If another screen has
        come meanwhile, the framework would ask that one for an act, whether it stands or not, and
        a letter meant for its line would be lost.
        """
        if isinstance(event, events.Key):
            await self._stands()
            if not event.is_forwarded:
                self._typed_on[event] = self.screen
            elif self._typed_on.get(event, self.screen) is not self.screen:
                event = events.Key(event.key, event.character)
        await super().on_event(event)

    async def _stands(self) -> None:
        """Wait until the screen stands; never for long, a key must come through."""
        loop = asyncio.get_running_loop()
        end = loop.time() + STANDS_S
        while (  # noqa: ASYNC110  (the framework tells of it by no event of ours)
            self.screen_stack and not self.screen.is_mounted and loop.time() < end
        ):
            await asyncio.sleep(0)
