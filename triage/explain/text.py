"""Explanations as plain lines: for a terminal, a log or a screen reader."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator

from triage.explain.conflicts import Contradiction
from triage.explain.contrast import Contrast
from triage.explain.counterfactual import Counterfactual
from triage.explain.nextquestion import NextQuestion
from triage.explain.node import WIDTH, Node, node_text
from triage.explain.sensitivity import Firmness
from triage.explain.whatif import WhatIf
from triage.explain.whynot import WhyNot
from triage.plan.model import Plan

STATES = {
    "next": "it is the next step",
    "later": "later in the plan",
    "excluded": "ruled out",
    "used-up": "used up",
    "not-offered": "not offered",
    "waits": "has to wait",
}
COLUMN = 44
SIDE_BY_SIDE = 12


def _wrapped(text: str, indent: str = "  ") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=indent, subsequent_indent=indent + "  ")


def nodes_text(nodes: Iterable[Node]) -> Iterator[str]:
    """Yield trees of reasons."""
    for node in nodes:
        yield from node_text(node)


def why_not_text(found: WhyNot) -> Iterator[str]:
    """Yield where a method stands and everything against it."""
    where = found.finding or "whole specimen"
    yield f"{found.name} [{found.method}] on {where}: {STATES[found.state]}"
    for reason in found.reasons:
        mark = "INTERLOCK, " if reason.interlock else ""
        yield from _wrapped(f"{mark}{reason.text} [{reason.rule}]")
        for child in reason.why.children:
            yield from node_text(child, 2)
    if found.first:
        yield from _wrapped(found.first)


def contrast_text(found: Contrast) -> Iterator[str]:
    """Yield why one method goes before another."""
    where = found.finding or "whole specimen"
    yield from _wrapped(f"{where}: {found.sentence} [{found.decided_by}]", "")
    yield from node_text(found.why, 1)


def question_text(found: NextQuestion) -> Iterator[str]:
    """Yield a question worth asking: how to find out, why, and what it costs."""
    line = found.line
    yield from _wrapped(f"{line.finding or 'specimen'} {line.question}: {line.ask}", "")
    yield from _wrapped(f"how: {line.how}")
    for answer, text in line.answers:
        yield from _wrapped(f"{answer}: {text}", "    ")
    yield from _wrapped(f"why: {found.because}")
    alone = "" if found.together == 1 else f", as one of {found.together} together"
    yield from _wrapped(
        f"chance that it changes the next step{alone}: {100 * found.chance:.0f} %; "
        f"risk: {line.risk}; about {line.seconds} s"
    )
    yield from _wrapped("cannot tell is an answer too; the plan then stays careful")


def firmness_text(found: Iterable[Firmness]) -> Iterator[str]:
    """Yield for each step whether it is firm or tentative."""
    for each in found:
        word = "firm" if each.firm else "tentative"
        whose = f"{each.finding} {each.question}: " if each.question else ""
        yield from _wrapped(f"{each.step}: {word}. {whose}{each.because}", "")


def contradictions_text(found: Iterable[Contradiction]) -> Iterator[str]:
    """Yield each contradiction with its two facts."""
    for each in found:
        yield from _wrapped(f"CONTRADICTION: {each.sentence}", "")


def changes_text(found: Iterable[Counterfactual]) -> Iterator[str]:
    """Yield what would change the next step."""
    for counterfactual in found:
        yield from _wrapped(counterfactual.sentence, "")


def _column(plan: Plan) -> list[str]:
    return [f"stage: {plan.stage}", *[step.id for step in plan.steps[:SIDE_BY_SIDE]]]


def what_if_text(found: WhatIf) -> Iterator[str]:
    """Yield two plans side by side, then each difference with its reason."""
    now, then = _column(found.now), _column(found.then)
    yield f"{'as it is':<{COLUMN}}as it would be"
    for place in range(max(len(now), len(then))):
        left = now[place] if place < len(now) else ""
        right = then[place] if place < len(then) else ""
        yield f"{left[: COLUMN - 2]:<{COLUMN}}{right}".rstrip()
    yield ""
    if not found.differences:
        yield "no difference"
    for difference in found.differences:
        whose = f"{difference.finding} " if difference.finding else ""
        change = " -> ".join(part for part in (difference.before, difference.after) if part)
        rule = f" [{difference.rule}]" if difference.rule else ""
        head = f"{difference.kind}: {whose}{difference.what}: {change}"
        yield from _wrapped(head, "")
        yield from _wrapped(f"because: {difference.because}{rule}")
