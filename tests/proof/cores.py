"""Work on several cores that ends at once and without noise when the user interrupts it."""

from __future__ import annotations

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
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
    with _deaf():
        # What is ignored now is ignored by the new processes from their first moment.
        workers = context.Pool(jobs or os.cpu_count() or 1, begin, arguments)
    try:
        yield workers
    finally:
        workers.terminate()
        workers.join()


@contextmanager
def _deaf() -> Iterator[None]:
    """Ignore the interrupt key for a moment; only the main thread can say so."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
