"""Blocks as the interface draws them, the two texts of a step, and how a finding is read."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from textual.content import Content

from triage.plan.model import FindingLine, Plan, Step
from triage.show.blocks import Alert, Block, Heading, Line, Listing, Picture
from triage.show.step import page_blocks, reason_blocks, step_blocks
from triage.show.words import NOTICE_SIGNS, STATE_SIGNS, less_or, sentence, stage_word, step_place
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


def reading_of(line: FindingLine, conflicts: tuple[str, ...]) -> Content:
    """Return the reading of one finding in words."""
    parts: list[Content | str | tuple[str, str]] = [("Reading now\n", "bold")]
    others = [f"{other.name}, {less_or(other.standing)}" for other in line.alternatives]
    is_told = line.standing != "open"
    if is_told:
        parts += [(f"{line.deposit_name}\n", "bold"), f"{line.standing}\n"]
    elif line.deposit:
        others = [line.deposit_name, *(other.name for other in line.alternatives)]
    parts.append(f"{STATE_SIGNS[line.state]}\n")
    if others:
        parts.append(("\nIt could also be\n" if is_told else "\nIt could be\n", "bold"))
        parts += [f"{other}\n" for other in others]
    if conflicts:
        parts.append(("\n! These do not agree\n", "bold"))
        parts += [f"{sentence}\n" for sentence in conflicts]
    parts.append(f"\nFragility: {line.fragility}\n")
    if line.leave_it and is_told:
        parts.append(f"\nIf it stays: {line.leave_it}")
    return Content.assemble(*parts)


def reading_of_whole(plan: Plan) -> Content:
    """Return stage, gates and notices of the whole specimen in words."""
    parts: list[Content | str | tuple[str, str]] = [
        ("Stage\n", "bold"),
        f"{stage_word(plan.stage)}\n",
    ]
    for notice in (*plan.refused, *plan.notices):
        parts.append((f"\n{NOTICE_SIGNS.get(notice.kind, notice.kind)}\n", "bold"))
        parts.append(f"{notice.text}\n")
    return Content.assemble(*parts)


def reading(plan: Plan, finding: str | None) -> Content:
    """Return how one finding is read, or what holds of the whole specimen, and the next step."""
    line = next((line for line in plan.findings if line.id == finding), None)
    if line is None:
        text = reading_of_whole(plan)
    else:
        conflicts = [item.sentence for item in plan.conflicts if item.finding == finding]
        text = reading_of(line, tuple(conflicts))
    step = plan.next_step()
    if step is None:
        return text
    return Content.assemble(text, "\n\n", ("Next step as it stands\n", "bold"), f"{step.name}\n")
