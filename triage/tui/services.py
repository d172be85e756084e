"""What a screen is given: the workshop, the clock, and one background thread for slow work."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import Executor
from dataclasses import dataclass
from typing import TypeVar

from triage.service import Clock, Workshop

Held = TypeVar("Held")


@dataclass(frozen=True)
class Services:
    """The workshop with its clock; ``background`` has one thread, so acts keep their order."""

    workshop: Workshop
    clock: Clock
    background: Executor

    async def run(self, act: Callable[[], Held]) -> Held:
        """Return what the act returns, without holding up the keys meanwhile."""
        return await asyncio.get_running_loop().run_in_executor(self.background, act)
