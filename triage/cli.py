"""The command line: parse, call one command, print, exit code. No logic of its own."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import tempfile
import textwrap
import traceback
from collections.abc import Mapping, Sequence
from functools import cache

from triage import __version__
from triage.commands.common import COMMANDS, Arguments, Parser, add_folders
from triage.errors import TriageError

GROUPS = ("work", "look", "calc", "sheet", "serve", "history", "knowledge")
USAGE = "triage [CASE | COMMAND] [options]"
TEXT = """\
Contamination triage for dried insects before high-magnification photography.

  triage              open the interface on your cases
  triage CASE         open it on one case (id or file); --plain: numbered lines
  triage --demo       open it on a copy of the demo cases
  triage --keys left  the main keys under one hand: left or right

order of work
  triage new "what is on the bench"       begin a case
  triage answer CASE question=answer      what the whole specimen is like
  triage see CASE --zone Z sign=answer    what is seen, and where
  triage plan CASE                        what to do, least harsh first
  triage record CASE --step S --outcome O   what came of it; the plan changes
"""
# In the order in which help shows them.
TITLES = {
    "work": "the work",
    "knowledge": "rules, bench",
    "look": "why, what if",
    "calc": "arithmetic",
    "sheet": "read and print",
    "history": "day, history",
    "serve": "read and print",
}
BUG_EXIT = 3
INTERRUPTED = 130


class MainParser(Parser):
    """The parser of the program itself; its help fits one screen, whatever it can do."""

    by_title: dict[str, list[str]]
    by_name: Mapping[str, argparse.ArgumentParser]

    def format_help(self) -> str:
        """Return the order of work and the commands by kind."""
        lines = [f"usage: {USAGE}", TEXT.rstrip(), ""]
        for title, names in self.by_title.items():
            row = f"{title:<16}{' '.join(names)}"
            lines += textwrap.wrap(row, 80, initial_indent="  ", subsequent_indent=" " * 18)
        lines += ["", "triage COMMAND --help shows its options and an example; --version, --help"]
        return "\n".join(lines) + "\n"


@cache
def build_parser() -> MainParser:
    """Return the parser with all commands, made once: it is asked for names before it parses."""
    parser = MainParser(prog="triage", usage=USAGE)
    parser.by_title = {title: [] for title in TITLES.values()}
    parser.add_argument("--version", action="version", version=f"triage {__version__}")
    subparsers = parser.add_subparsers(
        prog="triage", metavar="COMMAND", dest="command", parser_class=Parser
    )
    for group in GROUPS:
        before = set(subparsers.choices)
        importlib.import_module(f"triage.commands.{group}")
        for add in COMMANDS[f"triage.commands.{group}"]:
            add(subparsers)
        parser.by_name = subparsers.choices
        names = [name for name in subparsers.choices if name not in before]
        parser.by_title[TITLES[group]] += names
    return parser


def interface_arguments(words: Sequence[str]) -> Arguments | None:
    """Return the arguments for the interface, None if the words name a command."""
    parser = Parser(prog="triage", usage=USAGE, add_help=False)
    parser.add_argument("case", nargs="?")
    parser.add_argument("--demo", action="store_true")
    parser.add_argument("--plain", action="store_true")
    parser.add_argument("--keys", choices=("words", "left", "right"))
    add_folders(parser)
    arguments, rest = parser.parse_known_args(words, Arguments())
    return None if rest else arguments


def _runs_interface(words: Sequence[str]) -> bool:
    first = next((word for word in words if not word.startswith("-")), None)
    if any(word in ("-h", "--help", "--version") for word in words):
        return False
    if first is None or first not in commands():
        return True
    before = words[words.index(first) - 1] if words.index(first) else ""
    return before in ("--cases", "--rules", "--bench", "--keys")


def commands() -> tuple[str, ...]:
    """Return the names of all commands."""
    return tuple(name for names in build_parser().by_title.values() for name in names)


def run(words: Sequence[str]) -> int:
    """Run the command line and return the exit code; bad input is raised as ``TriageError``."""
    if _runs_interface(words):
        arguments = interface_arguments(words)
        if arguments is not None:
            from triage.commands.serve import open_interface
            from triage.service.commandline import CommandLine

            return open_interface(arguments, CommandLine(lambda: build_parser().by_name, run))
    parser = build_parser()
    # argparse ends a list of words at the first option; question=answer words may come after one.
    parsed, rest = parser.parse_known_args(words, Arguments())
    if rest and hasattr(parsed, "pairs") and not any(word.startswith("-") for word in rest):
        parsed.pairs = [*parsed.pairs, *rest]
    elif rest:
        parser.error(f"unrecognised: {' '.join(rest)}")
    if not hasattr(parsed, "run"):
        parser.print_help()
        return 0
    code: int | None = parsed.run(parsed)
    return code or 0


def _report_bug() -> int:
    """Write the traceback of a fault of ours to a file and say where it is."""
    handle, name = tempfile.mkstemp(prefix="triage-fault-", suffix=".txt")
    with os.fdopen(handle, "w", encoding="utf-8") as stream:
        traceback.print_exc(file=stream)
    print(f"triage: a fault of the program; nothing was lost. Details: {name}", file=sys.stderr)
    return BUG_EXIT


def main(words: Sequence[str] | None = None) -> int:
    """Run the program; every outcome becomes an exit code, never a traceback."""
    try:
        return run(sys.argv[1:] if words is None else words)
    except TriageError as fault:
        print(fault.line(), file=sys.stderr)
        return fault.exit_code
    except KeyboardInterrupt:
        print("stopped; what was recorded is kept", file=sys.stderr)
        return INTERRUPTED
    except BrokenPipeError:
        # The reader has gone (such as `| head`): say nothing, and let no late flush complain.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return 0
    except Exception:  # noqa: BLE001  (the last line of defence: no traceback on a user's screen)
        return _report_bug()


if __name__ == "__main__":
    sys.exit(main())
