"""A bench sheet as Markdown: boxes as task lists, lines to write as underscores."""

from __future__ import annotations

import re
from collections.abc import Iterator

from triage.sheet.parts import FINDING_HEAD, OUTCOMES, Block, Sheet, SheetStep

LINE = "_" * 40
# What Markdown or HTML takes for more than text; "://", "www." and "@" become links by themselves.
_SPECIAL = re.compile(r"([\\`*_\[\]<>|#~&@]|:(?=//)|(?<=[wW]{3})\.)")
# What begins a list, a rule or a heading at the start of a line.
_START = re.compile(r"^(\d*)([-+=]|[.)](?=\s|$))")


def plain(text: str) -> str:
    """Return a text in which nothing is taken for Markdown or HTML, on one line."""
    return _START.sub(r"\1\\\2", _SPECIAL.sub(r"\\\1", " ".join(text.split())))


def markdown_of(sheet: Sheet) -> str:
    """Return the sheet as Markdown."""
    lines = [f"# {plain(sheet.title)}", ""]
    lines += [f"{name}: {plain(text)}  " for name, text in sheet.facts]
    lines += [f"date and hand: {LINE}", ""]
    lines += [f"> **{plain(warning)}**\n>" for warning in sheet.warnings]
    if sheet.findings:
        lines += ["", f"| {' | '.join(FINDING_HEAD)} |", "|---" * len(FINDING_HEAD) + "|"]
        lines += [f"| {' | '.join(plain(cell) for cell in row)} |" for row in sheet.findings]
    for step in sheet.steps:
        lines += ["", *_step(step)]
    if not sheet.steps:
        lines += ["", "No step to do now."]
    if sheet.later:
        lines += ["", "## Only if one before fails", ""]
        lines += [f"- {plain(name)}" for name in sheet.later]
    lines += ["", f"**{plain(sheet.closing)}**"]
    if sheet.sources:
        lines += ["", f"Sources: {plain(', '.join(sheet.sources))}"]
    return "\n".join(lines) + "\n"


def _step(step: SheetStep) -> Iterator[str]:
    yield f"## {step.number}. {step.status}: {plain(step.name)}"
    yield ""
    yield f"{plain(step.where)} (`{step.id}`)"
    for block in step.blocks:
        yield ""
        yield from _block(block)


def _block(block: Block) -> Iterator[str]:
    yield f"**{block.label}**"
    yield ""
    if block.kind == "tick":
        yield from (f"- [ ] {plain(line)}" for line in block.lines)
    elif block.kind == "hold":
        yield from (f"> {plain(line)}" for line in block.lines)
        yield ""
        yield f"What was observed: {LINE}"
    elif block.kind == "write":
        yield "  ".join(f"[ ] {outcome}" for outcome in OUTCOMES)
        yield ""
        yield from (f"{line}: {LINE}  " for line in block.lines)
    elif block.kind in ("stop", "caution"):
        sign = "STOP" if block.kind == "stop" else "!"
        yield from (f"- {sign} {plain(line)}" for line in block.lines)
    else:
        yield from (f"{plain(line)}  " for line in block.lines)
