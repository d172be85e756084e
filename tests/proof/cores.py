"""Work on several cores that ends at once and without noise when the user interrupts it."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from multiprocessing import resource_tracker
from multiprocessing.pool import Pool
from typing import Any


def leave_interrupts_to_the_parent() -> None:
    """Make a worker deaf to the interrupt key: the parent ends it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


@contextmanager
def pool(
    jobs: int | None, begin: Callable[..., None], arguments: tuple[Any, ...]
) -> Iterator[Pool]:
    """Give a pool of fresh processes, ended in whatever way the work ends.

    Parameters
    ----------
    jobs       number of processes, all cores by default
    begin      called once in each process
    arguments  what it is called with
    """
    context = multiprocessing.get_context("spawn")
    # It would let interrupts through again in the middle of what is held back below.
    resource_tracker.ensure_running()
    workers: Pool | None = None
    try:
        with interrupts_held():
            workers = context.Pool(jobs or os.cpu_count() or 1, begin, arguments)
        yield workers
    finally:
        if workers is not None:
            workers.terminate()
            workers.join()


@contextmanager
def interrupts_held() -> Iterator[None]:
    """Hold the interrupt key back for a moment: it takes effect at the end, it is not lost.

    Processes that begin meanwhile never hear it: they inherit the mask. The handler is for the
    other threads of this process, which a mask does not reach.
    """
    held: list[int] = []
    is_main = threading.current_thread() is threading.main_thread()
    handler = signal.signal(signal.SIGINT, lambda *_: held.append(1)) if is_main else None
    mask = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, mask)
        if is_main:
            signal.signal(signal.SIGINT, handler)
    if held:
        raise KeyboardInterrupt
