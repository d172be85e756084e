"""One test for many entries: every one is looked at, and those that fail are all named."""

from collections.abc import Callable, Iterable
from typing import Any


def each(held: Iterable[Any]) -> Callable[[Callable[..., None]], Callable[[], None]]:
    """Let a check of one entry be one test of all; an entry that is a tuple gives more arguments.

    A test of its own for each of thousands of entries takes longer to collect than to run.
    """
    entries = [entry if isinstance(entry, tuple) else (entry,) for entry in held]

    def over(check: Callable[..., None]) -> Callable[[], None]:
        def test() -> None:
            failed = {}
            for entry in entries:
                try:
                    check(*entry)
                except Exception as fault:  # noqa: BLE001  (whatever it is, it is told below)
                    failed[" ".join(map(str, entry))[:80]] = f"{type(fault).__name__}: {fault}"
            told = "\n".join(f"{name}: {fault}" for name, fault in failed.items())
            assert not failed, f"{len(failed)} of {len(entries)}\n{told}"
            assert entries

        test.__doc__ = check.__doc__
        return test

    return over
