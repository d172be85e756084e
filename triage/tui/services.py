"""What a screen is given: the workshop, the clock, and one background thread for slow work."""

from __future__ import annotations

import asyncio
import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import Executor
from importlib import import_module
from pathlib import Path
from threading import Thread
from typing import TYPE_CHECKING, TypeVar

from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.case.models import Case
    from triage.plan.model import Plan
    from triage.service.listing import Clock
    from triage.service.workshop import Workshop

Held = TypeVar("Held")


class Services:
    """The workshop with its clock; the background has one thread, so acts keep their order.

    Parameters
    ----------
    cases      folder of the cases, which can be listed before the workshop is open
    clock      gives the present moment
    background runs what is slow
    opening    opens the workshop; called once, in the background
    pulse      seconds that only go on, whatever is done to the clock
    """

    def __init__(
        self,
        cases: Path,
        clock: Clock,
        background: Executor,
        opening: Callable[[], Workshop],
        pulse: Callable[[], float] = time.monotonic,
    ) -> None:
        self.cases = cases
        self.clock = clock
        self.background = background
        self.pulse = pulse
        self._opening = opening
        self._workshop: Workshop | None = None
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
        """The open workshop; no screen that needs it is reached before it is open."""
        return self.opened()

    def opened(self) -> Workshop:
        """Return the workshop, opened now if it is not open yet.

        Raises
        ------
        TriageError: unsafe knowledge or a broken bench.
        """
        if self._workshop is None:
            try:
                self._workshop = self._opening()
            except TriageError as fault:
                self.fault = fault
                raise
        return self._workshop

    def get_ready(self, modules: Iterable[str]) -> None:
        """Import parts of the program beside everything else, before they are needed."""
        wanted = [module for module in modules if module not in sys.modules]

        def act() -> None:
            for module in wanted:
                import_module(module)

        if wanted:
            Thread(target=act, name="get-ready", daemon=True).start()

    async def run(self, act: Callable[[], Held]) -> Held:
        """Return what the act returns, without holding up the keys meanwhile.

        What was asked for is done, in its turn, also when the screen that asked is left before.
        """
        return await asyncio.shield(asyncio.wrap_future(self.background.submit(act)))

    def close(self) -> None:
        """Let the last act end."""
        self.background.shutdown(wait=True)
