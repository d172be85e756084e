"""Commands about the knowledge: check it, print JSON Schemas for editors."""

from __future__ import annotations

from pathlib import Path

from triage.commands.common import Arguments, command, option, print_json


@command(
    "check --rules rules",
    option("--remarks", "list what is sound but odd", action="store_true"),
    option("--footing", "count what rests on what, by part", action="store_true"),
)
def run_check(arguments: Arguments) -> None:
    """Check the rules folder, and where a copy protects less than the rules carried along."""
    from triage import places
    from triage.check.footing import footing, footing_lines
    from triage.check.rulebase import remarks_of
    from triage.check.weaker import weaker
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
    if Path(folder).resolve() != places.rules_folder().resolve():
        for lost in weaker(load_knowledge(places.rules_folder()), knowledge):
            print(lost.line())
    remarks = remarks_of(consultant)
    for remark in remarks if arguments.remarks else ():
        print(remark.line())
    if remarks and not arguments.remarks:
        print(f"{len(remarks)} remarks; --remarks lists them")


@command(
    "schema agent",
    option("kind", "kind of entry; all kinds are listed without one", nargs="?"),
)
def run_schema(arguments: Arguments) -> None:
    """Print the JSON Schema of a kind of knowledge file or of bench, case or plan."""
    from pydantic import BaseModel, TypeAdapter

    from triage.case.models import Case
    from triage.case.profile import Bench
    from triage.knowledge.schema import document, schema_of, schemas
    from triage.plan.model import Plan

    own: dict[str, type[BaseModel]] = {"bench": Bench, "case": Case}
    if arguments.kind is None:
        for name in (*schemas(), *own, "plan"):
            print(name)
        return
    if arguments.kind in own:
        print_json(document(own[arguments.kind]))
        return
    if arguments.kind == "plan":
        print_json(TypeAdapter(Plan).json_schema(mode="serialization"))
        return
    print_json(schema_of(arguments.kind))
