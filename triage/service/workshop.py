"""The workshop as a whole, and how it is opened on folders."""

from __future__ import annotations

import contextlib
import gc
from collections.abc import Iterator
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from triage import places
from triage.case.profile import BENCH_FILE, Bench, load_bench
from triage.case.store import make_folder, replace_text
from triage.engine.consult import Consultant
from triage.engine.memory import spare_loaded
from triage.errors import Where
from triage.history.index import FolderRecord
from triage.knowledge.load import load_knowledge
from triage.plan.ladder import check_bench
from triage.plan.planner import Planner
from triage.service.listing import Clock, local_now
from triage.service.observing import Observing
from triage.service.photographs import Photographs
from triage.service.planning import Planning
from triage.service.shelf import Shelf, locator
from triage.service.working import Working
from triage.yamltext import dump_yaml

if TYPE_CHECKING:
    from triage.explain.desk import ExplainDesk


class Workshop:
    """The services of every face of the tool: one facade, and the parts that do the work.

    Parameters
    ----------
    consultant the compiled rulebase
    cases      folder of the cases
    bench      the user's bench
    bench_path file of the bench, None if there is none yet
    clock      gives the present moment
    """

    def __init__(
        self,
        consultant: Consultant,
        cases: Path,
        bench: Bench,
        bench_path: Path | None = None,
        clock: Clock = local_now,
    ) -> None:
        self.consultant, self.knowledge = consultant, consultant.knowledge
        self.cases, self.clock = cases, clock
        self.bench, self.bench_path = bench, bench_path
        self.planner = Planner(consultant)
        self.folder_record = FolderRecord(cases, self.knowledge)
        shelf, planning = Shelf(self), Planning(self)
        photographs, observing, working = Photographs(self), Observing(self), Working(self)
        self.shelf, self.planning, self.photographs = shelf, planning, photographs
        # What is on the shelf.
        self.entries, self.path_of, self.load = shelf.entries, shelf.path_of, shelf.load
        self.new, self.change = shelf.new, shelf.change
        self.last_act, self.just_told, self.stamp = shelf.last_act, shelf.just_told, shelf.stamp
        # What is planned.
        self.list_cases, self.plan, self.day = planning.list_cases, planning.plan, planning.day
        self.with_answer, self.tell_room = planning.with_answer, planning.tell_room
        # What is seen.
        self.answer, self.answer_all = observing.answer, observing.answer_all
        self.add_finding, self.sign, self.see = observing.add_finding, observing.sign, observing.see
        self.name_deposit, self.accept = observing.name_deposit, observing.accept
        self.withdraw, self.declare_clean = observing.withdraw, observing.declare_clean
        self.declare_rest_clean = observing.declare_rest_clean
        # What is done.
        self.check_photo, self.keep_photo = photographs.check_photo, photographs.keep_photo
        self.newest_photo = photographs.newest_photo
        self.record, self.undo, self.take_back = working.record, working.undo, working.take_back
        self.release, self.skip, self.offer_again = (
            working.release, working.skip, working.offer_again
        )  # fmt: skip
        self.start_timer, self.extend_timer = working.start_timer, working.extend_timer
        self.stop_timer, self.follow = working.stop_timer, working.follow

    @property
    def watched(self) -> Path | None:
        """The folder into which the camera writes, None if the bench names none."""
        return self.photographs.watched

    @cached_property
    def desk(self) -> ExplainDesk:
        """Return the desk that answers why, why not, what if and what to ask next."""
        from triage.explain.desk import ExplainDesk  # noqa: PLC0415  (only when it is asked)

        return ExplainDesk(self)

    def save_bench(self, bench: Bench) -> Bench:
        """Check and write the bench beside the cases, and use it from now on.

        Raises
        ------
        TriageError: the file there cannot be read as a bench, or the folder not be written to.
        """
        check_bench(self.knowledge, bench)
        make_folder(self.cases)
        path = self.bench_path or self.cases / BENCH_FILE
        if path.exists():
            load_bench(path)
        replace_text(path, dump_yaml(bench.plain()))
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
