"""The workshop as a whole, and how it is opened on folders."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator
from pathlib import Path

from triage import places
from triage.case.profile import BENCH_FILE, Bench, load_bench
from triage.engine.memory import spare_loaded
from triage.errors import Where
from triage.plan.barring import check_bench
from triage.service.listing import Clock, local_now
from triage.service.rulestore import load_rulebase
from triage.service.shelf import locator
from triage.service.working import Working


class Workshop(Working):
    """The services of every face of the tool."""

    def save_bench(self, bench: Bench) -> Bench:
        """Check and write the bench beside the cases, and use it from now on."""
        from triage.case.benchstore import write_bench  # noqa: PLC0415  (only this act writes one)
        from triage.case.store import make_folder  # noqa: PLC0415

        check_bench(self.knowledge, bench)
        make_folder(self.cases)
        path = self.bench_path or self.cases / BENCH_FILE
        write_bench(path, bench)
        self.bench, self.bench_path = bench, path
        return bench


@contextlib.contextmanager
def _no_collection() -> Iterator[None]:
    """Load without garbage collection: some 100,000 objects are made, and all of them stay."""
    was_on = gc.isenabled()
    gc.disable()
    try:
        yield
        spare_loaded()
    finally:
        if was_on:
            gc.enable()


def open_workshop(
    *,
    cases: Path | None = None,
    rules: Path | None = None,
    bench: Path | None = None,
    clock: Clock = local_now,
) -> Workshop:
    """Return a workshop on folders, with defaults for what is not given.

    Parameters
    ----------
    cases folder of cases; the user's own folder by default
    rules rules folder; the carried one by default
    bench bench file; ``bench.yaml`` beside the cases by default, else a bench that says nothing
    clock gives the present moment

    Raises
    ------
    TriageError: unsafe knowledge or a broken bench: the program refuses to plan.
    """
    with _no_collection():
        rulebase = load_rulebase(rules or places.rules_folder())
    knowledge = rulebase.knowledge
    folder = cases or places.cases_folder()
    beside = folder / BENCH_FILE
    path = bench or (beside if beside.is_file() else None)
    profile = load_bench(path) if path else Bench()
    if path:
        locate = locator(path)
        check_bench(knowledge, profile, lambda entry: Where(path.name, locate(entry).line))
    workshop = Workshop(knowledge, folder, profile, path, clock, rulebase.normal)
    if rules is not None:
        # The carried rules are proven before they are released; a person's own copy is not.
        # The checks are imported only then, so that the usual start-up stays fast.
        from triage.check.whole import require_sound  # noqa: PLC0415

        require_sound(workshop.consultant)
    return workshop
