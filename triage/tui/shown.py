"""Blocks as the interface draws them, and the two texts of a step made from them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from triage.plan.model import Plan, Step
from triage.show.blocks import Alert, Block, Heading, Line, Listing, Picture
from triage.show.step import page_blocks, reason_blocks, step_blocks
from triage.show.words import sentence, step_place
from triage.tui.hanging import Hanging, Rows, hanging

MOST_DEPTH = 6
SIGNS = {"stop": "!", "caution": "!", "hold": "|"}


def flat(blocks: Iterable[Block]) -> Iterator[Line]:
    """Yield blocks as lines; what is done is numbered, nothing is said by colour alone."""
    for block in blocks:
        if isinstance(block, Line):
            yield block
        elif isinstance(block, Heading):
            yield Line(sentence(block.text), is_bold=True)
            yield from (Line(sentence(block.where)), Line(""))
        elif isinstance(block, Alert):
            yield Line(block.text, "!", is_bold=True)
        elif isinstance(block, Picture):
            yield Line(block.text)
        elif not isinstance(block, Listing):
            yield from (Line("; ".join(row)) for row in block.rows)
        elif block.label == "Do":
            numbered = enumerate(block.lines, 1)
            yield from (Line(line, f"{number}.", is_bold=True) for number, line in numbered)
            yield Line("")
        else:
            yield Line(block.label, is_bold=True)
            yield from (Line(line, SIGNS.get(block.kind, ""), 1) for line in block.lines)
            yield Line("")


def doing_text(step: Step) -> Reasons:
    """Return a step as one page, read from above to below."""
    return Reasons((Line(sentence(step_place(step))), Line(""), *page_blocks(step)))


def step_text(step: Step, plan: Plan | None = None, sure: str = "") -> Reasons:
    """Return everything about a step, with the reason, the rules and the sources behind it."""
    head = Heading(step.name, where=step_place(step))
    return Reasons((head, *step_blocks(step, sure), *reason_blocks(step, plan)))


class Reasons:
    """Blocks to be read, as lines that wrap under themselves at any width."""

    def __init__(self, blocks: Iterable[Block]) -> None:
        self.lines = tuple(flat(blocks))

    @property
    def plain(self) -> str:
        """The same in plain words."""
        return "\n".join(f"{'  ' * each.depth}{each.sign} {each.text}" for each in self.lines)

    def drawn(self) -> Rows:
        """Return the lines as the screen draws them."""
        return Rows(tuple(_row(line) for line in self.lines))


def _row(line: Line) -> Hanging:
    indent = "  " * min(line.depth, MOST_DEPTH)
    text = (line.text, "bold") if line.is_bold else line.text
    if not line.sign:
        return hanging(indent, text, width=len(indent))
    front = f"{indent}{line.sign} "
    return hanging(front, text, width=len(front))
