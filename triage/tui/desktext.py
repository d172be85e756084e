"""Answers of the explanation desk as lines that wrap under themselves at any width."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, replace

from triage.explain.conflicts import Contradiction
from triage.explain.contrast import Contrast
from triage.explain.counterfactual import Counterfactual
from triage.explain.nextquestion import NextQuestion
from triage.explain.node import Node
from triage.explain.sensitivity import Firmness
from triage.explain.text import STATES, changes_by_outcome, differences_by_reason, named
from triage.explain.whatif import WhatIf
from triage.explain.whynot import WhyNot
from triage.knowledge.book import Knowledge
from triage.plan.model import Plan
from triage.plan.names import finding_names, step_names
from triage.tui.hanging import BOLD, Hanging, Rows, hanging
from triage.tui.words import stage_word

MOST_DEPTH = 6
WHOLE = "whole specimen"


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


def _called(lines: Iterable[Line], places: Mapping[str, str]) -> Iterator[Line]:
    """Yield lines with each finding called by its place, as the screen below calls it."""
    for line in lines:
        yield replace(line, text=named(line.text, places))


def why_lines(nodes: Iterable[Node], plan: Plan) -> Reasons:
    """Return trees of reasons."""
    lines = (line for node in nodes for line in _node(node))
    return _all(_called(lines, finding_names(plan)), "No rule speaks about it.")


def why_not_lines(found: Iterable[WhyNot], plan: Plan) -> Reasons:
    """Return where a method stands on each finding and everything against it."""
    places = finding_names(plan)

    def lines() -> Iterator[Line]:
        for each in found:
            where = places.get(each.finding or "", WHOLE)
            yield _head(f"{each.name}, {where}: {STATES[each.state]}")
            for reason in each.reasons:
                mark = "NEVER, nobody can release it: " if reason.interlock else ""
                yield Line(0, f"{mark}{reason.text}{_behind(reason.rule)}", "x")
                for child in reason.why.children:
                    yield from _node(child, 1)
            if each.first:
                yield Line(0, each.first, ">")

    return _all(_called(lines(), places), "Nothing stands against it, and nothing calls for it.")


def contrast_lines(found: Iterable[Contrast], plan: Plan) -> Reasons:
    """Return why one method goes before another."""
    places = finding_names(plan)

    def lines() -> Iterator[Line]:
        for each in found:
            yield _head(f"{places.get(each.finding or '', WHOLE)}: {each.sentence}")
            yield from _node(each.why)

    return _all(_called(lines(), places), "The two stand on no common ladder.")


def change_lines(found: Iterable[Counterfactual], knowledge: Knowledge, plan: Plan) -> Reasons:
    """Return what would change the next step, in the words of the command."""
    names = {**finding_names(plan), **step_names(plan)}

    def lines() -> Iterator[Line]:
        for outcome, changes in changes_by_outcome(found, knowledge, names).items():
            yield _head(outcome)
            yield from (Line(1, change) for change in changes)

    return _all(lines(), "Nothing known would change it.")


def question_lines(found: Iterable[NextQuestion], plan: Plan) -> Reasons:
    """Return what is worth asking, the best first."""
    places = finding_names(plan)

    def lines() -> Iterator[Line]:
        for number, each in enumerate(found, 1):
            line = each.line
            where = places.get(line.finding or "", WHOLE)
            yield Line(0, f"{line.ask} ({where})", f"{number}", bold=True)
            yield Line(1, f"why: {named(each.because, places)}")
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
    steps, places = step_names(plan), finding_names(plan)

    def lines() -> Iterator[Line]:
        for each in found:
            word = "firm" if each.firm else "could move"
            name = steps.get(each.step, each.step)
            yield Line(0, f"{word}: {name}", "=" if each.firm else "~", bold=True)
            yield Line(1, named(each.because, places), "")

    return _all(lines(), "There is no step.")


def contradiction_lines(found: Iterable[Contradiction], plan: Plan) -> Reasons:
    """Return the observations that do not agree."""

    def lines() -> Iterator[Line]:
        for each in found:
            yield Line(0, each.sentence, "!", bold=True)
            yield Line(0, "for it", "")
            yield from _node(each.for_it, 1)
            yield Line(0, "against it", "")
            yield from _node(each.against_it, 1)

    return _all(_called(lines(), finding_names(plan)), "Everything seen agrees.")


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
        for heads, because, rule in differences_by_reason(found):
            yield from (Line(0, head, "~", bold=True) for head in heads)
            yield Line(1, f"because: {because}{_behind(rule)}", "")
        yield Line(0, "Nothing of this is recorded.", "")

    return _all(lines(), "")
