"""Open the interface: here, on cases or a copy of the demo; or served to a browser."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from triage import places
from triage.commands.common import Arguments, command, option
from triage.errors import TriageError
from triage.service.commandline import CommandLine

LOOPBACK = "127.0.0.1"
PORT = 8000
INSTALL = "install it with: pip install 'triage[browser]'"


def interface_words(arguments: Arguments) -> list[str]:
    """Return the command line of the interface, which runs on its own, with whole paths."""
    words = []
    for name in ("cases", "rules", "bench"):
        path: Path | None = getattr(arguments, name)
        if path is not None:
            words += [f"--{name}", str(path.resolve())]
    if arguments.demo:
        words.append("--demo")
    if arguments.case is not None:
        case = Path(arguments.case)
        words.append(str(case.resolve()) if case.suffix == ".yaml" else arguments.case)
    return words


@command(
    "serve --port 8000",
    option("case", "id or file of a case to open at once", nargs="?"),
    option("--demo", "on a copy of the demo cases", action="store_true"),
    option("--port", f"port; {PORT} by default", type=int, default=PORT),
    option("--address", f"address; {LOOPBACK} by default", default=LOOPBACK),
    option(
        "--allow-other-addresses",
        "let other machines reach it: THERE IS NO LOGIN",
        action="store_true",
    ),
)
def run_serve(arguments: Arguments) -> None:
    """Serve the interface to a browser on this machine."""
    from triage.browser.address import checked_address, checked_port

    port = checked_port(arguments.port)
    warning = checked_address(arguments.address, allow_other=arguments.allow_other_addresses)
    try:
        from triage.browser.server import InterfaceServer
    except ModuleNotFoundError as fault:
        if (fault.name or "").startswith("triage"):
            raise
        raise TriageError(
            "serving needs the library textual-serve, which is not installed", mend=INSTALL
        ) from None
    if not arguments.demo:
        # What is wrong with rules, bench or case is said here, not in an empty page.
        workshop = arguments.workshop(arguments.case)
        if arguments.case is not None:
            workshop.load(arguments.case)
    if warning:
        print(warning, file=sys.stderr)
    server = InterfaceServer(
        interface_words(arguments),
        arguments.address,
        port,
        allow_other=arguments.allow_other_addresses,
    )
    shown = f"[{arguments.address}]" if ":" in arguments.address else arguments.address
    whole = f"http://{shown}:{port}/?key={server.key}"
    print(f"open {whole} in a browser; Ctrl+C ends it", file=sys.stderr, flush=True)
    try:
        server.serve()
    except OSError as fault:
        raise TriageError(
            f"cannot listen on {arguments.address} port {port}: {fault.strerror or fault}",
            mend="choose another --port",
        ) from fault


def open_interface(arguments: Arguments, inside: CommandLine) -> int:
    """Open the interface and return the exit code when it is left."""
    if arguments.demo:
        arguments.cases = places.copy_demo(places.demo_copy_folder())
    if arguments.plain or is_plain_terminal():
        return _open_plain(arguments, inside)
    from triage.tui.app import run_app

    folder = arguments.folder_of(arguments.case) or places.cases_folder()
    case = None if arguments.case is None else _id_of(arguments, folder)
    # The list of cases stands on the screen before the rules are read behind it.
    run_app(
        lambda: arguments.workshop(arguments.case),
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
    return arguments.workshop(arguments.case).load(arguments.case).id


def _open_plain(arguments: Arguments, inside: CommandLine) -> int:
    from triage.plain.dialogue import Dialogue
    from triage.plain.session import PlainSession

    workshop = arguments.workshop(arguments.case)
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
