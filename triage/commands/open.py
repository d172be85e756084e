"""Open the interface: on the user's cases, on one case, or on a copy of the demo."""

from __future__ import annotations

import os
import sys
from typing import TYPE_CHECKING

from triage import places
from triage.commands.common import Arguments, workshop_of

if TYPE_CHECKING:
    from triage.service.commandline import CommandLine


def open_interface(arguments: Arguments, inside: CommandLine) -> int:
    """Open the interface and return the exit code when it is left."""
    if arguments.demo:
        arguments.cases = places.copy_demo(places.demo_copy_folder())
    if arguments.plain or is_plain_terminal():
        return _open_plain(arguments, inside)
    from triage.tui.app import run_app

    if arguments.case is None:
        folder = arguments.cases or places.cases_folder()
        # The list of cases stands on the screen before the rules are read behind it.
        run_app(lambda: workshop_of(arguments), cases=folder, keys=arguments.keys, inside=inside)
    else:
        workshop = workshop_of(arguments, arguments.case)
        run_app(workshop, workshop.load(arguments.case).id, keys=arguments.keys, inside=inside)
    return 0


def _open_plain(arguments: Arguments, inside: CommandLine) -> int:
    from triage.plain.dialogue import Dialogue
    from triage.plain.session import PlainSession

    workshop = workshop_of(arguments, arguments.case)
    case = workshop.load(arguments.case) if arguments.case else None
    session = PlainSession(workshop, Dialogue(sys.stdin, sys.stdout), inside)
    session.run(case.id if case else None)
    return 0


def is_plain_terminal() -> bool:
    """Return whether the output cannot draw: no terminal, or one that calls itself dumb.

    A served interface (``triage serve``) writes to a pipe that a browser draws from.
    """
    if os.environ.get("TEXTUAL_DRIVER"):
        return False
    return os.environ.get("TERM") == "dumb" or not sys.stdout.isatty()
