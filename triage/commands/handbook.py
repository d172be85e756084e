"""Print the rulebase as a handbook."""

from __future__ import annotations

from pathlib import Path

from triage.commands.common import Arguments, Subparsers, command


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    book = command(
        subparsers,
        "handbook",
        "print the rulebase to be read: by deposit, zone, agent, method or rule",
        "handbook deposit oily-film",
        run_handbook,
    )
    book.add_argument(
        "kind",
        nargs="?",
        help="deposit, zone, agent, method, rule, taxon, question or source; all without",
    )
    book.add_argument("entry", nargs="?", metavar="ID", help="id of one entry; all without")
    book.add_argument("--out", type=Path, metavar="FILE", help="file to write; else to the screen")


def run_handbook(arguments: Arguments) -> int:
    """Print or write the handbook."""
    from triage import places
    from triage.commands.sheet import write_out
    from triage.handbook import handbook
    from triage.knowledge.load import load_knowledge

    knowledge = load_knowledge(arguments.rules or places.rules_folder())
    text = handbook(knowledge, arguments.kind, arguments.entry)
    write_out(text.encode("utf-8"), arguments.out)
    return 0
