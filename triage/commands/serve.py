"""Serve the interface to a browser on this machine, such as a tablet's beside the scope."""

from __future__ import annotations

import sys
from pathlib import Path

from triage.commands.common import Arguments, command, option, workshop_of
from triage.errors import TriageError

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
        workshop = workshop_of(arguments, arguments.case)
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
