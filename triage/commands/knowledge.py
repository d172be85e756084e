"""Commands about the knowledge: check it, print JSON Schemas for editors."""

from __future__ import annotations

from pathlib import Path

from triage.commands.common import Arguments, command, option, print_json, show
from triage.errors import TriageError


@command(
    "check --rules rules",
    option("--remarks", "list what is sound but odd", action="store_true"),
    option("--footing", "count what rests on what, by part", action="store_true"),
    option("--meant", "exit with 0 although the copy protects less", action="store_true"),
    as_json=True,
)
def run_check(arguments: Arguments) -> int:
    """Check the rules folder; exit with 1 where a copy protects less than the carried rules."""
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
    rules = [rule for rules in knowledge.rules.values() for rule in rules]
    is_copy = Path(folder).resolve() != places.rules_folder().resolve()
    lost = weaker(load_knowledge(places.rules_folder()), knowledge) if is_copy else []
    remarks = remarks_of(consultant)
    found = {
        "folder": str(folder),
        "entries": len(knowledge.places),
        "rules": len(rules),
        "cases": sum(len(rule.cases) for rule in rules),
        "digest": knowledge.digest,
        "protects_less": [_fault(each) for each in lost],
        "remarks": [_fault(each) for each in remarks],
    }
    said = [
        "{folder}: {entries} entries, {rules} rules, {cases} rule cases: no fault".format(**found),
        f"digest {knowledge.digest}",
        *(footing_lines(footing(knowledge, folder)) if arguments.footing else ()),
        *(remark.line() for remark in remarks if arguments.remarks),
    ]
    if remarks and not arguments.remarks:
        said.append(f"{len(remarks)} remarks; --remarks lists them")
    if lost:
        many = "1 place" if len(lost) == 1 else f"{len(lost)} places"
        said += ["", f"This copy protects less than the carried rules in {many}:"]
        said += [each.line() for each in lost]
    show(arguments, found, "".join(f"{line}\n" for line in said))
    return 1 if lost and not arguments.meant else 0


def _fault(fault: TriageError) -> dict[str, object]:
    where = fault.where
    place = {"file": where.file, "line": where.line, "entry": where.entry}
    return {**place, "message": fault.message, "mend": fault.mend}


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
