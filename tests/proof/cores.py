"""Work on several cores that ends at once and without noise when the user interrupts it."""

import multiprocessing
import os
import signal
import threading
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from multiprocessing import resource_tracker
from multiprocessing.pool import Pool
from typing import Any

Progress = Callable[[int, int], None]
_work: list[Callable[[Any], Any]] = []


def _begin(begin: Callable[..., Callable[[Any], Any]], arguments: tuple[Any, ...]) -> None:
    """Begin a worker. It is deaf to the interrupt key: the parent ends it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _work[:] = [begin(*arguments)]


def _one(item: Any) -> Any:
    return _work[0](item)


def work_out(
    items: Sequence[Any],
    begin: Callable[..., Callable[[Any], Any]],
    arguments: tuple[Any, ...],
    take: Callable[[Any], None],
    jobs: int | None = None,
    progress: Progress | None = None,
) -> None:
    """Work out something for each item in fresh processes, and take what comes of it in order.

    Parameters
    ----------
    items      what is worked on, one after the other
    begin      called once in each process; returns what works on one item
    arguments  what it is called with
    take       called in this process with what came of each item
    jobs       number of processes, all cores by default
    progress   called with items done and items in all
    """
    with _pool(jobs, begin, arguments) as workers:
        for done, found in enumerate(workers.imap(_one, items), start=1):
            take(found)
            if progress is not None:
                progress(done, len(items))


@contextmanager
def _pool(
    jobs: int | None, begin: Callable[..., Callable[[Any], Any]], arguments: tuple[Any, ...]
) -> Iterator[Pool]:
    """Give a pool of fresh processes, ended in whatever way the work ends."""
    context = multiprocessing.get_context("spawn")
    # It would let interrupts through again in the middle of what is held back below.
    resource_tracker.ensure_running()
    workers: Pool | None = None
    try:
        with interrupts_held():
            workers = context.Pool(jobs or os.cpu_count() or 1, _begin, (begin, arguments))
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
