"""The command line: parse, call one command, print, exit code. No logic of its own."""

from __future__ import annotations

import argparse
import importlib
import os
import sys
import tempfile
import traceback
from collections.abc import Sequence

from triage import __version__
from triage.commands.common import Parser, add_folders
from triage.errors import TriageError

GROUPS = ("work", "look", "calc", "knowledge")
USAGE = "triage [CASE | COMMAND] [options]"
TEXT = """\
Contamination triage for dried insects before high-magnification photography.

order of work
  triage new "what is on the bench"     begin a case
  triage answer CASE question=answer    what the whole specimen is like
  triage see CASE --zone ZONE sign=...  what is seen, and where
  triage plan CASE                      what to do, least harsh first
  triage record CASE --step ... --outcome ...   what happened; the plan changes

  triage            open the interface on your cases
  triage CASE       open the interface on one case (id or file)
  triage --demo     open it on a copy of the demo cases
"""
BUG_EXIT = 3
INTERRUPTED = 130


def build_parser() -> argparse.ArgumentParser:
    """Return the parser with all commands."""
    parser = Parser(
        prog="triage",
        usage=USAGE,
        description=TEXT,
        formatter_class=argparse.RawDescriptionHelpFormatter,
    )
    parser.add_argument("--version", action="version", version=f"triage {__version__}")
    subparsers = parser.add_subparsers(title="commands", metavar="COMMAND", dest="command")
    for group in GROUPS:
        importlib.import_module(f"triage.commands.{group}").add_commands(subparsers)
    return parser


def interface_arguments(words: Sequence[str]) -> argparse.Namespace | None:
    """Return the arguments for the interface, None if the words name a command."""
    parser = Parser(prog="triage", usage=USAGE, add_help=False)
    parser.add_argument("case", nargs="?")
    parser.add_argument("--demo", action="store_true")
    parser.add_argument("--plain", action="store_true")
    add_folders(parser)
    arguments, rest = parser.parse_known_args(words)
    return None if rest else arguments


def _runs_interface(words: Sequence[str]) -> bool:
    first = next((word for word in words if not word.startswith("-")), None)
    asks = any(word in ("-h", "--help", "--version") for word in words)
    return not asks and (first is None or first not in commands() or _is_option_value(words, first))


def _is_option_value(words: Sequence[str], first: str) -> bool:
    before = words[words.index(first) - 1] if words.index(first) else ""
    return before in ("--cases", "--rules", "--bench")


def commands() -> tuple[str, ...]:
    """Return the names of all commands."""
    parser = build_parser()
    for action in parser._actions:  # noqa: SLF001  (argparse offers no other way)
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001
            return tuple(action.choices)
    return ()


def run(words: Sequence[str]) -> int:
    """Run the command line and return the exit code; bad input is raised as ``TriageError``."""
    if _runs_interface(words):
        arguments = interface_arguments(words)
        if arguments is not None:
            from triage.commands.open import open_interface

            return open_interface(arguments)
    parser = build_parser()
    # argparse ends a list of words at the first option; question=answer words may come after one.
    parsed, rest = parser.parse_known_args(words)
    if rest and hasattr(parsed, "pairs") and not any(word.startswith("-") for word in rest):
        parsed.pairs = [*parsed.pairs, *rest]
    elif rest:
        parser.error(f"unrecognised: {' '.join(rest)}")
    if not hasattr(parsed, "run"):
        parser.print_help()
        return 0
    code: int = parsed.run(parsed)
    return code


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
