"""Blocks as the interface draws them, and the two texts of a step made from them."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from textual.content import Content
from textual.style import Style

from triage.plan.model import Plan, Step
from triage.show.blocks import Alert, Block, Heading, Line, Listing
from triage.show.step import doing_blocks, reason_blocks, served_words, step_blocks
from triage.show.words import dwell_words, pass_words, sentence, step_place
from triage.tui.hanging import Hanging, Rows, hanging

BOLD = Style(bold=True)
MOST_DEPTH = 6
SIGNS = {"stop": "!", "caution": "!", "hold": "|"}
Part = Content | str | tuple[str, Style]


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


def content_of(blocks: Iterable[Block]) -> Content:
    """Return blocks as one text."""
    parts: list[Part] = []
    for line in flat(blocks):
        told = f"{'  ' * line.depth}{f'{line.sign} ' if line.sign else ''}{line.text}\n"
        parts.append((told, BOLD) if line.is_bold else told)
    return Content.assemble(*parts)


def doing_text(step: Step) -> Content:
    """Return what is done in this step, the part that is read while working."""
    return content_of((Heading(step.name, where=step_place(step)), *doing_blocks(step)))


def step_text(step: Step, plan: Plan | None = None, sure: str = "") -> Reasons:
    """Return everything about a step, with the reason, the rules and the sources behind it."""
    head = Heading(step.name, where=step_place(step))
    return Reasons(tuple(flat((head, *step_blocks(step, sure), *reason_blocks(step, plan)))))


def brief_text(step: Step, key: str, *, is_briefest: bool = False) -> Content:
    """Return what the hands do now, and the key that shows the rest.

    Cautions are named by their kind, so that nobody overlooks that there are some.
    """
    gap = "" if is_briefest else "\n"
    parts: list[Part] = [f"{sentence(step_place(step))}\n{gap}"]
    parts += [(f"{number}. {line}\n", BOLD) for number, line in enumerate(step.do, 1)]
    amount = "" if step.amount_ml is None else f"{step.amount_ml:g} mL"
    told = "; ".join(part for part in (dwell_words(step), pass_words(step), amount) if part)
    tool = "" if is_briefest else f" Tool: {step.tool}."
    done = f"{step.success} {served_words(step)}".rstrip()
    parts.append(f"{gap}{sentence(told)}{tool}\nDone when  {done}\n")
    kinds = ", ".join(dict.fromkeys(each.kind.replace("-", " ").upper() for each in step.cautions))
    if kinds:
        parts.append((f"! Cautions: {kinds}\n", BOLD))
    more = (
        "tool" if is_briefest else "",
        "make up" if step.make_up else "",
        "rinse and dry" if step.rinse or step.drying else "",
        "cautions" if step.cautions else "",
    )
    rest = ", ".join(part for part in more if part)
    parts.append((f"{key}  in full{': ' if rest else ''}{rest}", BOLD))
    return Content.assemble(*parts)


class Reasons:
    """Lines to be read that wrap under themselves at any width."""

    def __init__(self, lines: tuple[Line, ...]) -> None:
        self.lines = lines

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
    return hanging(f"{indent}{line.sign}", text, width=len(indent) + 2)
