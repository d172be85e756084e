"""Commands that look without changing: why, why not, what to ask, what if, what would change it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from triage.commands.common import PAIRS, Arguments, command, option, pairs
from triage.errors import TriageError

if TYPE_CHECKING:
    from triage.plan.model import Plan
    from triage.show.reasons import Lines


@command(
    "explain wasp-02 --method heptane-brush --rather-than wash-detergent",
    option("--step", "step of the plan; the next one by default", metavar="ID"),
    option("--method", "why not this method or agent", metavar="M"),
    option("--rather-than", "why one method and not this one", metavar="M"),
    option("--finding", "how this finding is read; or only for it", metavar="F"),
    on_case=True,
    as_json=True,
)
def run_explain(arguments: Arguments) -> None:
    """Why this step, why not that one, how a finding is read."""
    from triage.show import reasons

    workshop, case = arguments.opened()
    desk, plan = workshop.desk, workshop.plan(case)
    content: dict[str, Any]
    lines: Lines
    if arguments.rather_than is not None:
        one = arguments.method or _next_method(plan)
        found = desk.trail(case).contrasts(one, arguments.rather_than, arguments.finding)
        content, lines = {"contrast": found}, reasons.contrast_lines(found, plan)
    elif arguments.method is not None:
        against = desk.trail(case).why_not(arguments.method, arguments.finding)
        content, lines = {"why_not": against}, reasons.why_not_lines(against, plan)
    elif arguments.finding is not None and arguments.step is None:
        nodes = desk.how(case, arguments.finding)
        content, lines = {"how": nodes}, reasons.why_lines(nodes, plan)
    else:
        nodes = desk.why(case, arguments.step)
        content, lines = {"why": nodes}, reasons.why_lines(nodes, plan)
        if arguments.step is None:
            firmness, contradictions = desk.firmness(case), desk.trail(case).contradictions()
            content |= {"firmness": firmness, "contradictions": contradictions}
            lines += reasons.firmness_lines(firmness, plan)
            if contradictions:
                lines += reasons.contradiction_lines(contradictions, plan)
    arguments.show(content, lambda: lines)


def _next_method(plan: Plan) -> str:
    step = plan.next_step()
    if step is None:
        raise TriageError("there is no next step to compare", mend="name one with --method")
    return step.method


@command(
    "ask wasp-02",
    option(
        "--cannot-tell",
        "questions not to ask again; those of a finding as f1:sheen",
        nargs="*",
        default=[],
        metavar="QUESTION",
    ),
    option("--all", "every question worth asking, best first", action="store_true"),
    on_case=True,
    as_json=True,
)
def run_ask(arguments: Arguments) -> None:
    """Print the next best question, and why it is asked."""
    from triage.show.reasons import question_lines

    workshop, case = arguments.opened()
    found = workshop.desk.questions(case, [_place(word) for word in arguments.cannot_tell])
    shown = found if arguments.all else found[:1]
    plan = workshop.plan(case)
    arguments.show(shown, lambda: question_lines(shown, plan, for_commands=True))


def _place(word: str) -> tuple[str, str]:
    from triage.engine.casefacts import SPECIMEN

    whose, sign, question = word.partition(":")
    return (whose, question) if sign else (SPECIMEN, whose)


@command(
    "whatif wasp-02 --finding f1 blotter=nothing",
    option("--finding", "finding that the answers are about", metavar="F"),
    option("answers", PAIRS, nargs="+", metavar="QUESTION=ANSWER"),
    on_case=True,
    as_json=True,
)
def run_whatif(arguments: Arguments) -> None:
    """Print the plan other answers would give, beside the present one; record nothing."""
    from triage.show.reasons import what_if_lines

    workshop, case = arguments.opened()
    found = workshop.desk.what_if(case, pairs(arguments.answers), arguments.finding)
    content = {"now": found.now, "then": found.then, "differences": found.differences}
    arguments.show(content, lambda: what_if_lines(found))


@command("change wasp-02", on_case=True, as_json=True)
def run_change(arguments: Arguments) -> None:
    """Print the smallest changes that give another next step."""
    from triage.show.reasons import change_lines

    workshop, case = arguments.opened()
    found = workshop.desk.changes(case)
    arguments.show(found, lambda: change_lines(found, workshop.knowledge, workshop.plan(case)))
