"""The program from its first line to its first screen, run as a process of its own.

Prints one line of JSON: wall and processor seconds from the start of the process to the first
list of cases and to the list that was planned anew, and how many cases stand there.
"""

import json
import os
import sys
import time
from pathlib import Path

WITHOUT = ("NO_COLOR", "COVERAGE_PROCESS_START")
ENVIRONMENT = {name: held for name, held in os.environ.items() if name not in WITHOUT}


def _since_start() -> float:
    """Return the wall time since the process was made [s]; Linux keeps it in ticks of 10 ms."""
    try:
        with Path("/proc/self/stat").open() as stream:
            ticks = int(stream.read().rpartition(")")[2].split()[19])
        with Path("/proc/uptime").open() as stream:
            up_s = float(stream.read().split()[0])
        return up_s - ticks / os.sysconf("SC_CLK_TCK")
    except (OSError, ValueError, IndexError):
        return 0.0


def main() -> None:
    """Run the command line as a user would, drawing to nothing, and end at the planned list."""
    wall, before = time.perf_counter(), _since_start()
    from triage import cli

    # The interface is imported by the command line; its class is watched when it is there.
    os.environ["TEXTUAL_DRIVER"] = "textual.drivers.headless_driver:HeadlessDriver"
    told: dict[str, float] = {}
    from triage.tui.app import TriageApp

    shows = TriageApp._display

    def display(app: TriageApp, screen: object, renderable: object) -> None:
        shows(app, screen, renderable)
        lines = getattr(screen, "lines", ())
        name = "planned" if app.services.is_open else "first"
        if lines and name not in told:
            told[name] = before + time.perf_counter() - wall
            told[f"{name}_cpu"] = time.process_time()
            told["cases"] = len(lines)
            if name == "planned":
                app.exit()

    TriageApp._display = display
    code = cli.main(["--cases", sys.argv[1]])
    print(json.dumps(told))
    sys.exit(code)


if __name__ == "__main__":
    main()
