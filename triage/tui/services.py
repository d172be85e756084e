"""What a screen is given: the workshop, the clock, and one background thread for slow work."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Callable, Sequence
from concurrent.futures import ThreadPoolExecutor
from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, TypeVar, cast

from triage.errors import TriageError
from triage.service.listing import local_now

if TYPE_CHECKING:
    from triage.case.models import Case
    from triage.plan.model import Plan
    from triage.service.listing import Clock
    from triage.service.workshop import Workshop

Held = TypeVar("Held")


class Services:
    """The workshop with its clock; the background has one thread, so acts keep their order.

    ``opening`` is the workshop, or opens it, once, in the background; ``cases`` can be listed
    before. ``pulse`` gives seconds that only go on, whatever is done to the clock.
    """

    def __init__(
        self,
        opening: Workshop | Callable[[], Workshop],
        cases: Path | None = None,
        clock: Clock | None = None,
        pulse: Callable[[], float] = time.monotonic,
    ) -> None:
        made = None if callable(opening) else opening
        self.cases = made.cases if made else cases or Path()
        self.clock = clock or (made.clock if made else local_now)
        self.background = ThreadPoolExecutor(max_workers=1, thread_name_prefix="workshop")
        self.pulse = pulse
        self._opening = opening
        self._workshop = made
        self.fault: TriageError | None = None
        self._shown: tuple[str, Case, Plan] | None = None
        # Cases whose zones that nobody looked at were asked about before the drying.
        self.asked_unseen: set[str] = set()

    def keep_shown(self, case_id: str, case: Case, plan: Plan) -> None:
        """Keep what a screen shows, so that the next one stands at once and looks behind it."""
        self._shown = (case_id, case, plan)

    def shown(self, case_id: str) -> tuple[Case, Plan] | None:
        """Return case and plan as a screen last showed them; the file may be newer."""
        kept = self._shown
        return kept[1:] if kept is not None and kept[0] == case_id else None

    @property
    def is_open(self) -> bool:
        """Whether the workshop is open."""
        return self._workshop is not None

    @property
    def workshop(self) -> Workshop:
        """The workshop, opened now if it is not open yet.

        Raises
        ------
        TriageError: unsafe knowledge or a broken bench.
        """
        if self._workshop is None and callable(self._opening):
            try:
                self._workshop = self._opening()
            except TriageError as fault:
                self.fault = fault
                raise
        return cast("Workshop", self._workshop)

    def get_ready(self, modules: Sequence[str]) -> None:
        """Import parts of the program beside everything else, before they are needed."""

        def act() -> None:
            for module in modules:
                import_module(module)

        Thread(target=act, name="get-ready", daemon=True).start()

    async def run(self, act: Callable[[], Held]) -> Held:
        """Return what the act returns, without holding up the keys meanwhile.

        What was asked for is done, in its turn, also when the screen that asked is left before.
        """
        return await asyncio.shield(asyncio.wrap_future(self.background.submit(act)))

    def close(self) -> None:
        """Let the last act end."""
        self.background.shutdown(wait=True)
