"""Commands about rules and bench: the bench, check, JSON Schemas for editors, completion."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from triage.commands.common import Arguments, command, option, print_json
from triage.errors import TriageError

NOT_DONE = "nothing was written: not all questions were answered"
SHELLS = ("bash", "zsh", "fish")
PROGRAM = "triage"


@command("bench")
def run_bench(arguments: Arguments) -> None:
    """Make or change the bench by questions: health first, then room, air and stock."""
    from triage.case.profile import BENCH_FILE
    from triage.plain.bench import ask_bench
    from triage.plain.dialogue import Dialogue, Stopped

    workshop = arguments.workshop()
    workshop.bench_path = workshop.bench_path or arguments.bench or workshop.cases / BENCH_FILE
    try:
        ask_bench(Dialogue(sys.stdin, sys.stdout), workshop)
    except Stopped:
        raise TriageError(NOT_DONE, mend="begin again: triage bench") from None


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
    arguments.show(found, "".join(f"{line}\n" for line in said))
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
    from triage.knowledge.book import document, schema_of, schemas
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
