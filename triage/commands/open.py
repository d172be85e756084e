"""Open the interface: on the user's cases, on one case, or on a copy of the demo."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from triage import places
from triage.commands.common import Arguments, folder_of, workshop_of
from triage.service.commandline import CommandLine


def open_interface(arguments: Arguments, inside: CommandLine) -> int:
    """Open the interface and return the exit code when it is left."""
    if arguments.demo:
        arguments.cases = places.copy_demo(places.demo_copy_folder())
    if arguments.plain or is_plain_terminal():
        return _open_plain(arguments, inside)
    from triage.tui.app import run_app

    folder = folder_of(arguments, arguments.case) or places.cases_folder()
    case = None if arguments.case is None else _id_of(arguments, folder)
    # The list of cases stands on the screen before the rules are read behind it.
    run_app(
        lambda: workshop_of(arguments, arguments.case),
        case=case,
        cases=folder,
        keys=arguments.keys,
        inside=inside,
    )
    return 0


def _id_of(arguments: Arguments, folder: Path) -> str:
    """Return the id of the case that is named, by its file alone where there is one.

    Raises
    ------
    TriageError: there is none, or it cannot be read.
    """
    from triage.case.store import load_case

    named = Path(arguments.case)
    path = named if named.suffix == ".yaml" else folder / f"{named}.yaml"
    if path.is_file():
        return load_case(path).id
    return workshop_of(arguments, arguments.case).load(arguments.case).id


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
