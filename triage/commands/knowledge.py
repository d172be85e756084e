"""Commands about the knowledge: check it, print JSON Schemas for editors."""

from __future__ import annotations

from triage.commands.common import Arguments, Subparsers, command, print_json


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    check = command(
        subparsers,
        "check",
        "check the rules folder as a whole, and the cases beside each rule",
        "check --rules rules",
        run_check,
    )
    check.add_argument("--remarks", action="store_true", help="list what is sound but odd")
    check.add_argument("--footing", action="store_true", help="count what rests on what, by part")
    schema = command(
        subparsers,
        "schema",
        "print the JSON Schema of a kind of knowledge file or of the plan",
        "schema agent",
        run_schema,
    )
    schema.add_argument("kind", nargs="?", help="kind of entry; all kinds are listed without one")


def run_check(arguments: Arguments) -> int:
    """Check the knowledge; every fault stands on one line with its mend."""
    from triage import places
    from triage.check.footing import footing, footing_lines
    from triage.check.rulebase import remarks_of
    from triage.check.whole import require_sound
    from triage.engine.consult import Consultant
    from triage.knowledge.load import load_knowledge

    folder = arguments.rules or places.rules_folder()
    knowledge = load_knowledge(folder)
    consultant = Consultant(knowledge)
    require_sound(consultant)
    count = sum(len(rules) for rules in knowledge.rules.values())
    cases = sum(len(rule.cases) for rules in knowledge.rules.values() for rule in rules)
    print(f"{folder}: {len(knowledge.places)} entries, {count} rules, {cases} rule cases: no fault")
    print(f"digest {knowledge.digest}")
    for line in footing_lines(footing(knowledge, folder)) if arguments.footing else ():
        print(line)
    remarks = remarks_of(consultant)
    for remark in remarks if arguments.remarks else ():
        print(remark.line())
    if remarks and not arguments.remarks:
        print(f"{len(remarks)} remarks; --remarks lists them")
    return 0


def run_schema(arguments: Arguments) -> int:
    """Print one JSON Schema, or the kinds there are."""
    from pydantic import TypeAdapter

    from triage.knowledge.schema import schema_of, schemas
    from triage.plan.model import Plan

    if arguments.kind is None:
        for name in (*schemas(), "plan"):
            print(name)
        return 0
    if arguments.kind == "plan":
        print_json(TypeAdapter(Plan).json_schema(mode="serialization"))
        return 0
    print_json(schema_of(arguments.kind))
    return 0
