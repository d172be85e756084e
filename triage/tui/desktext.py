"""Answers of the explanation desk as lines that wrap under themselves at any width."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from triage.explain.conflicts import Contradiction
from triage.explain.contrast import Contrast
from triage.explain.counterfactual import Counterfactual
from triage.explain.nextquestion import NextQuestion
from triage.explain.node import Node
from triage.explain.sensitivity import Firmness
from triage.explain.text import STATES, changes_by_outcome
from triage.explain.whatif import WhatIf
from triage.explain.whynot import WhyNot
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan
from triage.tui.hanging import BOLD, Hanging, Rows, hanging
from triage.tui.words import stage_word

MOST_DEPTH = 6


@dataclass(frozen=True)
class Line:
    """One line: how far in, what sign stands before it, what it says."""

    depth: int
    text: str
    sign: str = "-"
    bold: bool = False


@dataclass(frozen=True)
class Reasons:
    """Lines to be read, drawn with hanging indents."""

    lines: tuple[Line, ...]

    @property
    def plain(self) -> str:
        """The same in plain words."""
        return "\n".join(f"{'  ' * each.depth}{each.sign} {each.text}" for each in self.lines)

    def drawn(self) -> Rows:
        """Return the lines as the screen draws them."""
        return Rows(tuple(_row(line) for line in self.lines))


def _row(line: Line) -> Hanging:
    depth = min(line.depth, MOST_DEPTH)
    indent = "  " * depth
    text = (line.text, BOLD) if line.bold else line.text
    if not line.sign:
        return hanging(indent, text, width=len(indent))
    return hanging(f"{indent}{line.sign}", text, width=len(indent) + 2)


def _head(text: str) -> Line:
    return Line(0, text, "", bold=True)


def _behind(*parts: str) -> str:
    said = "; ".join(part for part in parts if part)
    return f" [{said}]" if said else ""


def _node(node: Node, depth: int = 0) -> Iterator[Line]:
    yield Line(depth, f"{node.text}{_behind(node.rule, node.title or node.source)}")
    for child in node.children:
        yield from _node(child, depth + 1)


def _all(lines: Iterable[Line], otherwise: str) -> Reasons:
    return Reasons(tuple(lines) or (Line(0, otherwise, ""),))


def why_lines(nodes: Iterable[Node]) -> Reasons:
    """Return trees of reasons."""
    return _all((line for node in nodes for line in _node(node)), "No rule speaks about it.")


def why_not_lines(found: Iterable[WhyNot]) -> Reasons:
    """Return where a method stands on each finding and everything against it."""

    def lines() -> Iterator[Line]:
        for each in found:
            where = each.finding or "whole specimen"
            yield _head(f"{each.name}, {where}: {STATES[each.state]}")
            for reason in each.reasons:
                mark = "NEVER, nobody can release it: " if reason.interlock else ""
                yield Line(0, f"{mark}{reason.text}{_behind(reason.rule)}", "x")
                for child in reason.why.children:
                    yield from _node(child, 1)
            if each.first:
                yield Line(0, each.first, ">")

    return _all(lines(), "Nothing stands against it, and nothing calls for it.")


def contrast_lines(found: Iterable[Contrast]) -> Reasons:
    """Return why one method goes before another."""

    def lines() -> Iterator[Line]:
        for each in found:
            yield _head(f"{each.finding or 'whole specimen'}: {each.sentence}")
            yield from _node(each.why)

    return _all(lines(), "The two stand on no common ladder.")


def change_lines(found: Iterable[Counterfactual], knowledge: Knowledge) -> Reasons:
    """Return what would change the next step, in the words of the command."""

    def lines() -> Iterator[Line]:
        for outcome, changes in changes_by_outcome(found, knowledge).items():
            yield _head(outcome)
            yield from (Line(1, change) for change in changes)

    return _all(lines(), "Nothing known would change it.")


def question_lines(found: Iterable[NextQuestion]) -> Reasons:
    """Return what is worth asking, the best first."""

    def lines() -> Iterator[Line]:
        for number, each in enumerate(found, 1):
            line = each.line
            yield Line(
                0, f"{line.ask} ({line.finding or 'whole specimen'})", f"{number}", bold=True
            )
            yield Line(1, f"why: {each.because}")
            yield Line(1, f"how: {line.how}")
            alone = "" if each.together == 1 else f", as one of {each.together} together"
            yield Line(
                1,
                f"chance that it changes the next step{alone}: {100 * each.chance:.0f} %; "
                f"risk: {line.risk}; about {line.seconds} s",
            )

    return _all(lines(), "No answer that is still open could change the next step.")


def firmness_lines(found: Iterable[Firmness], plan: Plan) -> Reasons:
    """Return for each step whether it is firm, or which question could move it."""

    def lines() -> Iterator[Line]:
        for each in found:
            step = plan.step(each.step)
            word = "firm" if each.firm else "could move"
            where = f" ({step.finding})" if step and step.finding else ""
            name = f"{step.name}{where}" if step else each.step
            yield Line(0, f"{word}: {name}", "=" if each.firm else "~", bold=True)
            yield Line(1, each.because, "")

    return _all(lines(), "There is no step.")


def contradiction_lines(found: Iterable[Contradiction]) -> Reasons:
    """Return the observations that do not agree."""

    def lines() -> Iterator[Line]:
        for each in found:
            yield Line(0, each.sentence, "!", bold=True)
            yield Line(0, "for it", "")
            yield from _node(each.for_it, 1)
            yield Line(0, "against it", "")
            yield from _node(each.against_it, 1)

    return _all(lines(), "Everything seen agrees.")


def what_if_lines(found: WhatIf) -> Reasons:
    """Return the plan as it is beside the plan as it would be, and every difference."""

    def next_of(plan: Plan) -> str:
        step = plan.next_step()
        return f"{stage_word(plan.stage)}: {step.name if step else 'no step'}"

    def lines() -> Iterator[Line]:
        yield Line(0, f"as it is:       {next_of(found.now)}", "", bold=True)
        yield Line(0, f"as it would be: {next_of(found.then)}", "", bold=True)
        if not found.differences:
            yield Line(0, "no difference", "=")
        for each in found.differences:
            whose = f"{each.finding} " if each.finding else ""
            change = " -> ".join(part for part in (each.before, each.after) if part)
            kind = each.kind.replace("-", " ")
            yield Line(0, f"{kind}: {whose}{each.what}: {change}", "~", bold=True)
            if each.because != each.after:
                yield Line(1, f"because: {each.because}{_behind(each.rule)}", "")
        yield Line(0, "Nothing of this is recorded.", "")

    return _all(lines(), "")
