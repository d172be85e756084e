"""Open the interface: on the user's cases, on one case, or on a copy of the demo."""

from __future__ import annotations

import os
import shutil
import sys
from pathlib import Path

from triage import places
from triage.commands.common import Arguments, workshop_of


def copy_demo(target: Path) -> Path:
    """Copy the demo cases into the user's own folder, leaving files that are there already."""
    target.mkdir(parents=True, exist_ok=True)
    for source in sorted(places.demo_folder().rglob("*")):
        place = target / source.relative_to(places.demo_folder())
        if source.is_dir():
            place.mkdir(exist_ok=True)
        elif not place.exists():
            shutil.copyfile(source, place)
    return target


def open_interface(arguments: Arguments) -> int:
    """Open the interface and return the exit code when it is left."""
    if arguments.demo:
        arguments.cases = copy_demo(places.demo_copy_folder())
    workshop = workshop_of(arguments, arguments.case)
    case = workshop.load(arguments.case) if arguments.case else None
    if arguments.plain or is_plain_terminal():
        from triage.plain.dialogue import Dialogue
        from triage.plain.session import PlainSession

        PlainSession(workshop, Dialogue(sys.stdin, sys.stdout)).run(case.id if case else None)
        return 0
    from triage.tui.app import run_app

    run_app(workshop, case)
    return 0


def is_plain_terminal() -> bool:
    """Return whether the output cannot draw: no terminal, or one that calls itself dumb.

    A served interface (``triage serve``) writes to a pipe that a browser draws from.
    """
    if os.environ.get("TEXTUAL_DRIVER"):
        return False
    return os.environ.get("TERM") == "dumb" or not sys.stdout.isatty()
