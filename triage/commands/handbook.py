"""Print the rulebase as a handbook."""

from __future__ import annotations

from pathlib import Path

from triage.commands.common import Arguments, command, option


@command(
    "handbook deposit oily-film",
    option(
        "kind",
        "deposit, zone, agent, method, rule, taxon, question or source; all without",
        nargs="?",
    ),
    option("entry", "id of one entry; all without", nargs="?", metavar="ID"),
    option("--out", "file to write; else to the screen", type=Path, metavar="FILE"),
)
def run_handbook(arguments: Arguments) -> None:
    """Print the rulebase to be read: by deposit, zone, agent, method or rule."""
    from triage import places
    from triage.commands.sheet import write_out
    from triage.handbook import handbook
    from triage.knowledge.load import load_knowledge

    knowledge = load_knowledge(arguments.rules or places.rules_folder())
    text = handbook(knowledge, arguments.kind, arguments.entry)
    write_out(text.encode("utf-8"), arguments.out)
