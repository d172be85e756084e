"""Commands that look without changing: why, why not, what to ask, what if, what would change it."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import asdict

from triage.commands.common import (
    PAIRS,
    Arguments,
    Subparsers,
    command,
    pairs,
    print_json,
    progress_bar,
    workshop_of,
)

MEASURED_CASES = 200


def add_commands(subparsers: Subparsers) -> None:
    """Add the commands of this module."""
    explain = command(
        subparsers,
        "explain",
        "why this step, why not that one, how a finding is read",
        "explain wasp-02 --method heptane-brush --rather-than wash-detergent",
        run_explain,
        on_case=True,
        as_json=True,
    )
    explain.add_argument("--step", metavar="ID", help="step of the plan; the next one by default")
    explain.add_argument("--method", metavar="M", help="why not this method or agent")
    explain.add_argument("--rather-than", metavar="M", help="why one method and not this one")
    explain.add_argument("--finding", metavar="F", help="how this finding is read; or only for it")

    ask = command(
        subparsers,
        "ask",
        "the next best question, and why it is asked",
        "ask wasp-02",
        run_ask,
        on_case=True,
        as_json=True,
    )
    ask.add_argument(
        "--cannot-tell",
        nargs="*",
        default=[],
        metavar="QUESTION",
        help="questions not to ask again; those of a finding as f1:sheen",
    )
    ask.add_argument("--all", action="store_true", help="every question worth asking, best first")
    _add_others(subparsers)


def _add_others(subparsers: Subparsers) -> None:
    whatif = command(
        subparsers,
        "whatif",
        "the plan other answers would give, beside the present one; records nothing",
        "whatif wasp-02 --finding f1 blotter=nothing",
        run_whatif,
        on_case=True,
        as_json=True,
    )
    whatif.add_argument("--finding", metavar="F", help="finding that the answers are about")
    whatif.add_argument("answers", nargs="+", metavar="QUESTION=ANSWER", help=PAIRS)

    command(
        subparsers,
        "change",
        "the smallest changes that give another next step",
        "change wasp-02",
        run_change,
        on_case=True,
        as_json=True,
    )

    measure = command(
        subparsers,
        "measure-questions",
        "how many questions the next best order needs, on invented cases",
        "measure-questions --count 200",
        run_measure,
        as_json=True,
    )
    measure.add_argument("--count", type=int, default=MEASURED_CASES, help="how many cases")
    measure.add_argument("--first", type=int, default=0, help="seed of the first case")


def _print_lines(lines: Iterable[str]) -> None:
    sys.stdout.write("".join(f"{line}\n" for line in lines))


def run_explain(arguments: Arguments) -> int:
    """Print why, why not, or why this rather than that."""
    from triage.explain import text

    workshop = workshop_of(arguments, arguments.case)
    case = workshop.load(arguments.case)
    desk = workshop.desk
    if arguments.rather_than is not None:
        one = arguments.method or _next_method(workshop.plan(case).next_step())
        found = desk.contrast(case, one, arguments.rather_than, arguments.finding)
        lines = [line for contrast in found for line in text.contrast_text(contrast)]
        content = {"contrast": [asdict(contrast) for contrast in found]}
    elif arguments.method is not None:
        against = desk.why_not(case, arguments.method, arguments.finding)
        lines = [line for each in against for line in text.why_not_text(each)]
        content = {"why_not": [asdict(each) for each in against]}
    elif arguments.finding is not None and arguments.step is None:
        nodes = desk.how(case, arguments.finding)
        lines = list(text.nodes_text(nodes))
        content = {"how": [asdict(node) for node in nodes]}
    else:
        nodes = desk.why(case, arguments.step)
        lines = list(text.nodes_text(nodes))
        content = {"why": [asdict(node) for node in nodes]}
        if arguments.step is None:
            firmness, against_each_other = desk.firmness(case), desk.contradictions(case)
            lines += text.firmness_text(firmness, workshop.plan(case))
            lines += text.contradictions_text(against_each_other)
            content["firmness"] = [asdict(each) for each in firmness]
            content["contradictions"] = [asdict(each) for each in against_each_other]
    if arguments.json:
        print_json(content)
    else:
        _print_lines(lines or ["nothing to explain"])
    return 0


def _next_method(step: object) -> str:
    from triage.errors import TriageError
    from triage.plan.model import Step

    if not isinstance(step, Step):
        raise TriageError("there is no next step to compare", mend="name one with --method")
    return step.method


def run_ask(arguments: Arguments) -> int:
    """Print the next best question."""
    from triage.explain import text

    workshop = workshop_of(arguments, arguments.case)
    case = workshop.load(arguments.case)
    declined = [_place(word) for word in arguments.cannot_tell]
    found = workshop.desk.questions(case, declined)
    shown = found if arguments.all else found[:1]
    if arguments.json:
        print_json([asdict(question) for question in shown])
    elif not shown:
        print("nothing to ask: no answer could change what to do next")
    else:
        _print_lines(text.questions_text(shown))
    return 0


def _place(word: str) -> tuple[str, str]:
    from triage.explain.desk import SPECIMEN

    whose, sign, question = word.partition(":")
    return (whose, question) if sign else (SPECIMEN, whose)


def run_whatif(arguments: Arguments) -> int:
    """Print two plans side by side with each difference."""
    from triage.explain import text
    from triage.plan.model import plan_data

    workshop = workshop_of(arguments, arguments.case)
    case = workshop.load(arguments.case)
    found = workshop.desk.what_if(case, pairs(arguments.answers), arguments.finding)
    if arguments.json:
        content = {
            "now": plan_data(found.now),
            "then": plan_data(found.then),
            "differences": [asdict(difference) for difference in found.differences],
        }
        print_json(content)
    else:
        _print_lines(text.what_if_text(found))
    return 0


def run_change(arguments: Arguments) -> int:
    """Print every smallest change that gives another next step."""
    workshop = workshop_of(arguments, arguments.case)
    found = workshop.desk.changes(workshop.load(arguments.case))
    if arguments.json:
        print_json([asdict(counterfactual) for counterfactual in found])
    elif not found:
        print("no change of one or two answers, of the bench or of one attempt changes it")
    else:
        from triage.explain import text

        _print_lines(text.changes_text(found, workshop.knowledge))
    return 0


def run_measure(arguments: Arguments) -> int:
    """Print how many questions had to be asked."""
    from triage import places
    from triage.explain.measure import measure_on_all_cores

    rules = arguments.rules or places.rules_folder()
    with progress_bar("questions") as progress:
        found = measure_on_all_cores(rules, arguments.count, progress, first=arguments.first)
    if arguments.json:
        print_json({"share": found.share, "agreeing": found.agreeing, **asdict(found)})
    else:
        print(found.sentence())
    return 0
