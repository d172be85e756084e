"""Print a script that completes commands, options, fixed choices and files in a shell."""

from __future__ import annotations

import argparse

from triage.commands.common import Arguments, command, option

SHELLS = ("bash", "zsh", "fish")
PROGRAM = "triage"


@command(
    "completion bash > ~/.local/share/bash-completion/completions/triage",
    option("shell", "your shell", choices=SHELLS),
)
def run_completion(arguments: Arguments) -> None:
    """Print a script that completes words in your shell."""
    import shtab

    parser = argparse.ArgumentParser(prog=PROGRAM)
    parser.add_argument("--version", action="store_true", help="show the version")
    parser.add_argument("--demo", action="store_true", help="open a copy of the demo cases")
    parser.add_argument("--plain", action="store_true", help="numbered lines, no interface")
    parser._add_action(arguments.every)  # noqa: SLF001  (argparse has no public way to share them)
    _complete_files(parser, shtab.FILE)
    print(shtab.complete(parser, arguments.shell))


def _complete_files(parser: argparse.ArgumentParser, files: object) -> None:
    """Let every word that has no fixed choices be the name of a file."""
    for action in parser._actions:  # noqa: SLF001  (argparse has no public list of its actions)
        if isinstance(action, argparse._SubParsersAction):  # noqa: SLF001  (the same)
            for inner in action.choices.values():
                _complete_files(inner, files)
        elif action.choices is None and action.nargs != 0:
            vars(action)["complete"] = files
