"""A screen of one case: read, changed, planned again, and looked at if somebody else wrote it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from triage.case.models import Case
from triage.errors import TriageError
from triage.plan.model import Plan
from triage.tui.screens.base import DISK_MEND, CaseChanged, ServiceScreen

LOOK_OUTSIDE_S = 1.0
CHANGED_OUTSIDE = "the file was changed outside; it is shown as it is now"


@dataclass(frozen=True)
class Read:
    """A case as it was read, its plan, and what a screen needs besides (None: not read yet)."""

    case: Case
    plan: Plan
    more: Any = None


class CaseScreen(ServiceScreen):
    """A screen of one case; looks whether its file was changed by somebody else."""

    # Whether it is read on coming back too.
    READS_AGAIN = False
    case_id: str
    case: Case | None = None
    plan: Plan | None = None
    _seen = (0, 0, 0)
    _broken = False

    def planned(self, case: Case) -> Read:
        """Return a case with its plan, in the background."""
        return Read(case, self.workshop.plan(case))

    def read(self) -> Read:
        """Return the case as its file is now, and its plan."""
        return self.planned(self.workshop.load(self.case_id))

    def take(self, read: Read) -> None:
        """Show a case and its plan."""
        raise NotImplementedError

    def begin(self) -> None:
        """Take what the screen before showed at once, then what the file says if it is newer.

        Nothing rests on the first: every act reads the file again before it changes anything.
        """
        known = self.services.shown(self.case_id) if self.is_whole else None
        first = Read(*known) if known is not None else None
        if first is not None:
            self.take(first)

        def then(read: Read) -> None:
            if read != first:
                self.take(read)

        def look() -> None:
            self._pending -= 1
            self.serve(self.read, then)

        self._pending += 1  # what is shown may still be replaced
        if first is None:
            look()
        else:
            self.call_after_refresh(look)  # drawing comes first

    def change(
        self,
        act: Callable[[], Case],
        then: Callable[[], object] | None = None,
        told: str = "",
    ) -> None:
        """Change the case, show what comes of it and say so, or go on with what is kept of it."""

        def shown(read: Read) -> None:
            if then is None:
                self.take(read)
                if told:
                    self.tell(told)
            else:
                self.show_case(read.case, read.plan)
                then()

        self.serve(lambda: self.planned(act()), shown)

    def show_case(self, case: Case, plan: Plan) -> None:
        """Keep what is shown now, for the other screens and for the timers."""
        self.case, self.plan = case, plan
        self.services.keep_shown(self.case_id, case, plan)
        self.post_message(CaseChanged(case))

    def on_mount(self) -> None:
        """Begin to look at the file."""
        self._seen = self.workshop.stamp(self.case_id)
        self.set_interval(LOOK_OUTSIDE_S, self.look_outside)

    def on_screen_resume(self) -> None:
        """Read the case on coming here."""
        if self.case is None or self.READS_AGAIN:
            self.begin()

    def look_outside(self) -> None:
        """Read the case again if its file was written since it was last looked at."""
        if self.case is None or not self.is_current or self.is_at_work:
            return
        stamp = self.workshop.stamp(self.case_id)
        if stamp != self._seen:
            self._seen = stamp
            self.run_worker(self._look_inside(), group="service")

    async def _look_inside(self) -> None:
        try:
            case = await self.services.run(lambda: self.workshop.load(self.case_id))
        except (TriageError, OSError) as fault:
            self._broken = True
            told = fault.line() if isinstance(fault, TriageError) else f"{fault}; {DISK_MEND}"
            self.show_fault(f"the file cannot be read any more; what is shown is older: {told}")
            return
        if self.is_at_work:
            self._seen = (0, 0, 0)  # look again when what this program does is shown
            return
        if self._broken or case != self.case:
            self._broken = False
            self.changed_outside()

    def changed_outside(self) -> None:
        """Show the case as it stands in the file now."""

        def then(read: Read) -> None:
            self.take(read)
            self.tell(CHANGED_OUTSIDE)

        self.serve(self.read, then)
