"""The workshop: what every face of the tool calls, and how it is opened."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from triage import places
from triage.case.profile import BENCH_FILE, Bench, load_bench
from triage.engine.consult import Consultant
from triage.engine.memory import spare_loaded
from triage.errors import Where
from triage.knowledge.load import load_knowledge
from triage.plan.ladder import check_bench
from triage.service.listing import Clock, local_now
from triage.service.observing import Observing
from triage.service.working import Working
from triage.yamltext import locator

if TYPE_CHECKING:
    from triage.explain.desk import ExplainDesk


class Workshop(Observing, Working):
    """The services of every face of the tool: cases and their plans, looking and working."""

    @cached_property
    def desk(self) -> ExplainDesk:
        """Return the desk that answers why, why not, what if and what to ask next."""
        from triage.explain.desk import ExplainDesk  # noqa: PLC0415  (only when it is asked)

        return ExplainDesk(self)


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
        consultant = Consultant(load_knowledge(rules or places.rules_folder()))
    knowledge = consultant.knowledge
    folder = cases or places.cases_folder()
    beside = folder / BENCH_FILE
    path = bench or (beside if beside.is_file() else None)
    profile = load_bench(path) if path else Bench()
    if path:
        locate = locator(path)
        check_bench(knowledge, profile, lambda entry: Where(path.name, locate(entry).line))
    workshop = Workshop(consultant, folder, profile, path, clock)
    if rules is not None:
        # The carried rules are proven before they are released; a person's own copy is not.
        # The checks are imported only then, so that the usual start-up stays fast.
        from triage.check.whole import require_sound  # noqa: PLC0415

        require_sound(consultant)
    return workshop
