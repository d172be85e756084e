"""The command that makes a bench by questions."""

from __future__ import annotations

import sys

from triage.commands.common import Arguments, command, workshop_of
from triage.errors import TriageError

NOT_DONE = "nothing was written: not all questions were answered"


@command("bench")
def run_bench(arguments: Arguments) -> None:
    """Make or change the bench by questions: health first, then room, air and stock."""
    from triage.case.profile import BENCH_FILE
    from triage.plain.bench import ask_bench
    from triage.plain.dialogue import Dialogue, Stopped

    workshop = workshop_of(arguments)
    workshop.bench_path = workshop.bench_path or arguments.bench or workshop.cases / BENCH_FILE
    try:
        ask_bench(Dialogue(sys.stdin, sys.stdout), workshop)
    except Stopped:
        raise TriageError(NOT_DONE, mend="begin again: triage bench") from None
